// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A link over a TCP connection that is made again when it is lost: what link::SerialLink is for a port. One
/// thread; a name is looked up by a thread of Asio's own.

#include <array>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <memory>
#include <string>
#include <string_view>

#include "core/link/device_link.hpp"

namespace pin16::supply {

class TcpLink : public link::DeviceLink {
 protected:
  TcpLink(const link::Uri& uri, std::string host, std::string port, const link::Context& context,
          std::string description);
  void reopenLater(event::LinkCondition condition, std::string text, std::string advice) final;
  bool control(std::string_view text) final;

 private:
  using Tcp = boost::asio::ip::tcp;
  void startLine() final { connect(); }
  void stopLine() final;
  [[nodiscard]] bool lineIsOpen() const final { return open_; }
  void describeLine(event::LinkState& state) const final { state.driver = "tcp"; }
  void connect();
  void connected();
  void read();
  void lost(event::LinkCondition condition, std::string text, std::string advice);
  void shut();
  void retryLater();
  [[nodiscard]] std::string peer() const { return host_ + ":" + port_; }

  const std::string host_, port_;
  Tcp::resolver resolver_;
  Tcp::socket socket_;
  boost::asio::steady_timer retry_, patience_;
  std::array<std::uint8_t, 4096> in_{};
  int tries_ = 0;
  bool open_ = false;              ///< connected
  std::shared_ptr<bool> attempt_;  ///< of one connection
};

}  // namespace pin16::supply
