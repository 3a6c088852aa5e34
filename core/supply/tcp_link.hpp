// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A link over a TCP connection that is made again when it is lost: what link::SerialLink is for a port, with
/// the same members for the link that derives from it. One thread; a name is looked up by a thread of Asio's
/// own.

#include <array>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <memory>
#include <string>
#include <string_view>

#include "core/link/link.hpp"

namespace pin16::supply {

class TcpLink : public link::Link {
 public:
  TcpLink(const link::Uri& uri, std::string host, std::string port, const link::Context& context,
          std::string description);
  void open() final;
  void close() final;
  [[nodiscard]] const event::LinkState& state() const final { return state_; }

 protected:
  /// Connected: begin the dialogue.
  virtual void onOpened() = 0;
  virtual void onBytes(Ns t_boot_ns, ByteView bytes) = 0;
  /// The connection is gone: forget what was under way.
  virtual void onLost() {}
  /// Before it is closed for good.
  virtual void onClosing() {}

  // As in link::SerialLink.
  void up(Ns t_boot_ns, event::LinkState next);
  void become(event::LinkState next);
  void reopenLater(event::LinkCondition condition, std::string text, std::string advice);
  void seen(Ns t_boot_ns) { seen_boot_ns_ = t_boot_ns; }
  bool control(std::string_view text);
  void markMeter() { state_.meter = true; }
  [[nodiscard]] const link::Context& context() const { return context_; }
  [[nodiscard]] std::weak_ptr<bool> token() const { return alive_; }
  [[nodiscard]] event::LinkState blank() const;

 private:
  using Tcp = boost::asio::ip::tcp;
  void connect();
  void connected();
  void read();
  void lost(event::LinkCondition condition, std::string text, std::string advice);
  void shut();
  void retryLater();
  [[nodiscard]] std::string peer() const { return host_ + ":" + port_; }

  link::Context context_;
  const std::string host_, port_, description_;
  event::LinkState state_;
  Tcp::resolver resolver_;
  Tcp::socket socket_;
  boost::asio::steady_timer retry_, patience_;
  std::array<std::uint8_t, 4096> in_{};
  int tries_ = 0;
  bool open_ = false;  ///< connected
  bool was_up_ = false;
  bool missed_ = false;  ///< a gap is open
  Ns seen_boot_ns_ = kNoTime;
  Ns gap_from_ns_ = kNoTime;
  std::string missed_why_;
  std::shared_ptr<bool> alive_;    ///< of open() to close()
  std::shared_ptr<bool> attempt_;  ///< of one connection
};

}  // namespace pin16::supply
