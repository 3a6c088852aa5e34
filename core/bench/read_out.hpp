// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The other equipment on the bench: a program that asks one module one request after the other and gives up
/// at the first that has no whole positive answer. Time is injected, no I/O, no threads.

#include "core/bench/server.hpp"

namespace pin16::bench {

class Asking {
 public:
  /// `module` has a read_out. It answers nothing.
  explicit Asking(const Module& module);

  /// How it stands, and what it would tell its operator.
  enum class End : std::uint8_t { not_begun, under_way, done, refused, no_answer, broke_off };
  [[nodiscard]] End end() const { return end_; }
  [[nodiscard]] bool begun() const { return end_ != End::not_begun; }
  [[nodiscard]] std::size_t asked() const { return asked_; }  ///< repeats included
  [[nodiscard]] std::size_t answered() const { return next_; }

  using Outgoing = Server::Outgoing;
  /// Each returns what it now wants to send. begin() starts anew if it has ended, else it does nothing.
  [[nodiscard]] std::vector<Outgoing> begin(Ns t_ns);
  [[nodiscard]] std::vector<Outgoing> onFrame(Ns t_ns, const event::CanFrame& frame);
  [[nodiscard]] std::vector<Outgoing> onConfirmed(Ns t_ns);
  [[nodiscard]] std::vector<Outgoing> onTime(Ns t_ns);
  [[nodiscard]] Ns nextDeadline() const;

 private:
  void ask(Ns t_ns, std::vector<Outgoing>& out);
  void take(Ns t_ns, const protocol::Sender::Output& from_sender, std::vector<Outgoing>& out);
  void take(Ns t_ns, const protocol::Receiver::Output& from_receiver, std::vector<Outgoing>& out);
  void noAnswer(Ns t_ns, std::vector<Outgoing>& out);
  void finish(End end);

  ReadOut what_;
  protocol::Receiver receiver_;
  protocol::Sender sender_;
  End end_ = End::not_begun;
  std::size_t next_ = 0, asked_ = 0;
  int tries_ = 0;         ///< of the request under way
  bool waiting_ = false;  ///< for an answer, until due_ns_; else due_ns_ is when to ask
  Ns due_ns_ = kNoTime;
};

[[nodiscard]] const char* toText(Asking::End end);

}  // namespace pin16::bench
