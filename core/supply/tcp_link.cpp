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
    : context_(context),
      host_(std::move(host)),
      port_(std::move(port)),
      description_(std::move(description)),
      resolver_(context.io),
      socket_(context.io),
      retry_(context.io),
      patience_(context.io) {
  state_.uri = uri.text;
  state_.description = description_;
}

void TcpLink::open() {
  if (alive_) return;
  alive_ = std::make_shared<bool>(true);
  connect();
}

void TcpLink::close() {
  if (!alive_) return;
  if (open_) onClosing();
  alive_.reset();
  retry_.cancel();
  shut();
  const Ns now_ns = bootNow();
  if (missed_)
    context_.host.emit(context_.index, now_ns,
                       event::Gap{gap_from_ns_, now_ns, missed_why_ + "; it did not come back"});
  missed_ = false;
  event::LinkState next = state_;
  next.condition = LinkCondition::finished;
  become(std::move(next));
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
        context_.host.onBytes(context_.index, now_ns, bytes, /*outbound=*/false);
        onBytes(now_ns, bytes);
        if (!attempt.expired()) read();
      });
}

bool TcpLink::control(std::string_view text) {
  if (!open_) return false;
  error_code ec;
  const std::size_t n = socket_.write_some(asio::buffer(text), ec);
  const ByteView gone{reinterpret_cast<const std::uint8_t*>(text.data()), n};
  if (n > 0) context_.host.onBytes(context_.index, bootNow(), gone, /*outbound=*/true);
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
  if (was_open) onLost();
  if (was_up_ && !missed_) {
    missed_ = true;
    gap_from_ns_ = seen_boot_ns_;
    missed_why_ = text;
  }
  event::LinkState next = blank();
  next.condition = condition;
  next.text = std::move(text);
  next.advice = std::move(advice);
  become(std::move(next));
  retryLater();
}

void TcpLink::retryLater() {
  retry_.expires_after(std::min(kRetryFirst * (1 << std::min(tries_, 3)), kRetryMost));
  ++tries_;
  retry_.async_wait([this, alive = std::weak_ptr(alive_)](const error_code& ec) {
    if (!ec && !alive.expired()) connect();
  });
}

event::LinkState TcpLink::blank() const {
  event::LinkState s;
  s.uri = state_.uri;
  s.description = description_;
  s.driver = "tcp";
  s.meter = state_.meter;
  return s;
}

void TcpLink::up(Ns t_boot_ns, event::LinkState next) {
  if (missed_)
    context_.host.emit(context_.index, t_boot_ns, event::Gap{gap_from_ns_, t_boot_ns, missed_why_});
  missed_ = false;
  was_up_ = true;
  seen_boot_ns_ = t_boot_ns;
  next.condition = LinkCondition::up;
  become(std::move(next));
}

void TcpLink::become(event::LinkState next) {
  if (next == state_) return;
  state_ = std::move(next);
  context_.host.emit(context_.index, bootNow(), state_);
}

}  // namespace pin16::supply
