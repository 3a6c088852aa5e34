// SPDX-License-Identifier: Apache-2.0
#include "core/supply/tcp_link.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/asio/buffer.hpp>
#include <boost/asio/connect.hpp>
#include <boost/asio/io_context.hpp>

namespace pin16::supply {
namespace {

namespace asio = boost::asio;
using boost::system::error_code;
using event::LinkCondition;
using std::chrono::milliseconds;

constexpr milliseconds kRetryFirst{250}, kRetryMost{2000}, kConnectMost{3000};  // own figures

}  // namespace

TcpLink::TcpLink(const link::Uri& uri, std::string host, std::string port, const link::Context& context,
                 std::string description)
    : DeviceLink(uri, context, std::move(description)),
      host_(std::move(host)),
      port_(std::move(port)),
      resolver_(context.io),
      socket_(context.io),
      retry_(context.io),
      patience_(context.io) {}

void TcpLink::stopLine() {
  retry_.cancel();
  shut();
}

void TcpLink::shut() {
  attempt_.reset();
  open_ = false;
  patience_.cancel();
  resolver_.cancel();
  error_code ignored;
  socket_.close(ignored);  // NOLINT(bugprone-unused-return-value)
}

void TcpLink::connect() {
  attempt_ = std::make_shared<bool>(true);
  const std::weak_ptr<bool> attempt(attempt_);
  patience_.expires_after(kConnectMost);
  patience_.async_wait([this, attempt](const error_code& ec) {
    if (!ec && !attempt.expired())
      lost(LinkCondition::missing, peer() + " does not answer",
           "check the cable and the address of the instrument");
  });
  resolver_.async_resolve(
      host_, port_, [this, attempt](const error_code& ec, const Tcp::resolver::results_type& all) {
        if (attempt.expired()) return;
        if (ec)
          return lost(
              LinkCondition::missing, fmt::format("{} is no known host: {}", host_, ec.message()),
              "write the address of the instrument as it shows it, for instance scpi-tcp:192.168.1.20");
        asio::async_connect(socket_, all, [this, attempt](const error_code& fault, const Tcp::endpoint&) {
          if (attempt.expired()) return;
          if (fault)
            return lost(LinkCondition::missing,
                        fmt::format("no connection to {}: {}", peer(), fault.message()),
                        "switch the instrument's network port on; its manual names the number of the port");
          connected();
        });
      });
}

void TcpLink::connected() {
  patience_.cancel();
  error_code ignored;
  socket_.set_option(Tcp::no_delay(true), ignored);  // NOLINT(bugprone-unused-return-value)
  socket_.non_blocking(true, ignored);               // NOLINT(bugprone-unused-return-value)
  open_ = true;
  tries_ = 0;
  read();
  onOpened();
}

void TcpLink::read() {
  socket_.async_read_some(
      asio::buffer(in_), [this, attempt = std::weak_ptr(attempt_)](const error_code& ec, std::size_t n) {
        if (attempt.expired()) return;
        const Ns now_ns = bootNow();
        if (ec)
          return lost(LinkCondition::gone, fmt::format("{} ended the connection ({})", peer(), ec.message()),
                      "check the cable and whether the instrument is on; the run goes on");
        const Bytes bytes(in_.begin(), in_.begin() + static_cast<std::ptrdiff_t>(n));
        took(now_ns, bytes);
        if (!attempt.expired()) read();
      });
}

bool TcpLink::control(std::string_view text) {
  if (!open_) return false;
  error_code ec;
  const std::size_t n = socket_.write_some(asio::buffer(text), ec);
  const ByteView gone{reinterpret_cast<const std::uint8_t*>(text.data()), n};
  if (n > 0) gave(bootNow(), gone);
  // A query fits into any socket's buffer: if it does not, nothing was read there for long.
  if (n == text.size()) return true;
  lost(LinkCondition::gone, fmt::format("{} takes no bytes ({})", peer(), ec.message()),
       "check the cable and whether the instrument is on; the run goes on");
  return false;
}

void TcpLink::reopenLater(LinkCondition condition, std::string text, std::string advice) {
  if (open_) lost(condition, std::move(text), std::move(advice));
}

void TcpLink::lost(LinkCondition condition, std::string text, std::string advice) {
  const bool was_open = open_;
  shut();
  trouble(condition, std::move(text), std::move(advice), was_open);
  retryLater();
}

void TcpLink::retryLater() {
  retry_.expires_after(std::min(kRetryFirst * (1 << std::min(tries_, 3)), kRetryMost));
  ++tries_;
  retry_.async_wait([this, alive = token()](const error_code& ec) {
    if (!ec && !alive.expired()) connect();
  });
}

}  // namespace pin16::supply
