// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The client side of the recorder process. One thread; every call blocks at most as long as it says.

#include <chrono>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "core/event/batch.hpp"
#include "core/recorder/wire.hpp"

namespace pin16::recorder {

class Session {
 public:
  /// Starts a recorder process and attaches as its owner. `config.socket` may be empty: then one is chosen.
  static Result<std::unique_ptr<Session>> start(Config config);
  /// Attaches to a running recorder.
  static Result<std::unique_ptr<Session>> attach(const std::string& socket, const std::string& name);
  /// Sockets of this user's running recorders.
  [[nodiscard]] static std::vector<std::string> running();
  /// One of them records an attempt of the other equipment.
  [[nodiscard]] static bool attemptRuns();
  ~Session();
  Session(const Session&) = delete;
  Session& operator=(const Session&) = delete;

  /// Hands arrived batches to `sink` for at most `wait`, returns when some came. Nothing = time is up
  /// (or a signal arrived). ErrorKind::record if the recorder is gone.
  Status poll(event::Sink& sink, std::chrono::milliseconds wait);
  /// Sends a command and waits for its reply; batches that arrive meanwhile go to `sink`. The reply's own
  /// failure comes back as the error.
  Result<Reply> call(Command command, event::Sink& sink,
                     std::chrono::milliseconds wait = std::chrono::seconds(30));
  /// The same in two steps, for who may not wait: sends the command; its reply, good or not, is there after a
  /// later poll(), to be fetched once.
  Result<std::uint32_t> post(Command command);
  [[nodiscard]] std::optional<Reply> fetch(std::uint32_t id);
  [[nodiscard]] const std::string& file() const { return file_; }
  /// What the recorder said of itself at start: suspend, free disk.
  [[nodiscard]] const std::string& startNote() const { return start_note_; }
  [[nodiscard]] int recorderPid() const { return pid_; }

 private:
  Session() = default;
  static Result<std::unique_ptr<Session>> greet(const std::string& socket, const std::string& name,
                                                bool owner);
  /// Reads what is there, at most for `wait`; replies are kept in `replies_`.
  Status receive(event::Sink& sink, std::chrono::milliseconds wait);
  [[nodiscard]] Error goneError() const;

  int fd_ = -1;
  int pid_ = -1;  // of a recorder we started
  std::string file_, start_note_;
  std::uint32_t next_id_ = 1;
  Splitter in_;
  std::vector<Reply> replies_;
  event::Batch batch_;
  std::vector<event::Batch> kept_;  // came while attaching
};

}  // namespace pin16::recorder
