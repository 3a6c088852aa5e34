// SPDX-License-Identifier: Apache-2.0
#include "core/supply/scpi_link.hpp"

#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cmath>

#include "core/link/serial_link.hpp"
#include "core/supply/scpi_dialogue.hpp"
#include "core/supply/tcp_link.hpp"

namespace pin16::supply {
namespace {

constexpr Ns kEvery_ns = 50 * kNsPerMs;  // as often as a slow serial line can (own figure)
constexpr const char* kDescription = "SCPI instrument";

/// The dialogue on a port or a connection.
template <class Base>
class ScpiLink final : public Base {
 public:
  template <class... Arguments>
  explicit ScpiLink(ScpiSettings settings, Arguments&&... arguments)
      : Base(std::forward<Arguments>(arguments)..., kDescription),
        timer_(this->context().io),
        dialogue_(std::move(settings), {[this](std::string_view query) { (void)this->control(query); },
                                        [this](Ns t_ns, const event::Measurement& m) { sample(t_ns, m); },
                                        [this](const event::Gap& gap) { emit(gap.to_ns, gap); },
                                        [this](Ns t_ns) { changed(t_ns); }}) {
    this->markMeter();
  }

  Status send(link::Permit /*permit*/) override {
    return Error{ErrorKind::link, "a meter is read, never written to: nothing was sent", this->state().uri,
                 "name a link to the bus"};
  }

 protected:
  void onOpened() override {
    if (this->state().condition == event::LinkCondition::opening) this->become(this->blank());
    dialogue_.start(bootNow());
    settle();
  }
  void onBytes(Ns t_ns, ByteView bytes) override {
    dialogue_.take(t_ns, bytes);
    settle();
  }
  void onLost() override {
    timer_.cancel();
    dialogue_.stop();
  }
  void onClosing() override {
    timer_.cancel();
    dialogue_.finish(bootNow());
  }

 private:
  template <class T>
  void emit(Ns t_ns, const T& record) {
    this->context().host.emit(this->context().index, t_ns, record);
  }
  void sample(Ns t_ns, const event::Measurement& m) {
    this->context().host.onRecord(this->context().index, t_ns, event::Kind::sample, pack(m));
    this->seen(t_ns);
  }
  void changed(Ns t_ns) {
    const ScpiDialogue::Facts& facts = dialogue_.facts();
    if (!facts.answers) return;
    event::LinkState next = this->blank();
    if (!facts.identity.empty()) next.description = facts.identity;
    next.text = facts.text;
    next.advice = facts.advice;
    next.time_origin = "user";
    next.time_error_ns = facts.time_error_ns;
    this->up(t_ns, std::move(next));
    if (dialogue_.lastValue() != kNoTime) this->seen(dialogue_.lastValue());
  }
  /// After each turn of the dialogue: give up, or wait for what is due.
  void settle() {
    if (dialogue_.failed())
      return this->reopenLater(event::LinkCondition::failed, "the instrument does not answer",
                               "switch it on, check its interface setting and the rate: ?baud=9600");
    const Ns due_ns = dialogue_.nextDue();
    if (due_ns == kNoTime) return;
    timer_.expires_after(std::chrono::nanoseconds(std::max<Ns>(due_ns - bootNow(), 0)));
    timer_.async_wait([this, alive = this->token()](const boost::system::error_code& ec) {
      if (ec || alive.expired()) return;
      dialogue_.onTime(bootNow());
      settle();
    });
  }

  boost::asio::steady_timer timer_;
  ScpiDialogue dialogue_;
};

Error usage(const link::Uri& uri, std::string what, std::string advice) {
  return {ErrorKind::usage, std::move(what), uri.text, std::move(advice)};
}

Result<ScpiSettings> settingsOf(const link::Uri& uri, const MeterOptions& meter) {
  ScpiSettings s;
  s.meter = meter;
  const auto channel = numberOption(uri, "channel", 1, kChannelMost, 0);
  if (!channel) return channel.error();
  if (*channel != std::floor(*channel))
    return usage(uri, "a channel is a whole number", "Write for instance channel=2");
  s.channel = static_cast<int>(*channel);
  const std::string asked = uri.option("ask");
  if (!asked.empty()) {
    if (asked != "read" && asked != "fetch")
      return usage(uri, "ask=" + asked + " is not known",
                   "Write ask=read or ask=fetch, or leave it out for MEAS");
    if (meter.quantities.size() != 1)
      return usage(uri, "with ask=" + asked + " the instrument gives one quantity",
                   "Name V= or I=, not both");
    s.instead = asked == "read" ? Query::read : Query::fetch;
  }
  const std::string end = uri.option("end");
  if (end == "crlf")
    s.end = "\r\n";
  else if (end == "cr")
    s.end = "\r";
  else if (!end.empty() && end != "lf")
    return usage(uri, "end=" + end + " is not known", "Write end=lf, end=crlf or end=cr");
  constexpr double kWaitLeast_ms = 10, kWaitMost_ms = 30000;
  const auto wait_ms = numberOption(uri, "wait_ms", kWaitLeast_ms, kWaitMost_ms, toMs(s.wait_ns));
  if (!wait_ms) return wait_ms.error();
  s.wait_ns = std::llround(*wait_ms * kNsPerMs);
  return s;
}

Result<std::unique_ptr<link::Link>> makeSerial(const link::Uri& uri, const link::Context& context) {
  const auto meter = readMeterOptions(uri, kEvery_ns, {"baud", "channel", "ask", "end", "wait_ms"});
  if (!meter) return meter.error();
  auto settings = settingsOf(uri, *meter);
  if (!settings) return settings.error();
  link::SerialSettings serial;
  const auto baud = link::rateOption(uri, "baud", serial.baud);
  if (!baud) return baud.error();
  serial.baud = *baud;
  return std::unique_ptr<link::Link>(
      std::make_unique<ScpiLink<link::SerialLink>>(*std::move(settings), uri, uri.target, serial, context));
}

/// "HOST", "HOST:PORT", "[ADDRESS]:PORT" with an IPv6 address.
Result<std::pair<std::string, std::string>> hostAndPort(const link::Uri& uri) {
  std::string host = uri.target, port = kScpiPort;
  std::size_t colon = host.rfind(':');
  if (host.starts_with('[')) {
    const std::size_t close = host.find(']');
    if (close == std::string::npos) return usage(uri, "a bracket is not closed", "Write [ADDRESS]:PORT");
    colon = host.find(':', close);
    if (colon != std::string::npos) port = host.substr(colon + 1);
    host = host.substr(1, close - 1);
  } else if (colon != std::string::npos) {
    port = host.substr(colon + 1);
    host.resize(colon);
  }
  const auto number = toUnsigned(port);
  if (host.empty() || !number || *number == 0 || *number > 65535)
    return usage(uri, "expected HOST or HOST:PORT, the port 1 to 65535",
                 "Write for instance scpi-tcp:192.168.1.20:5025");
  return std::pair(host, port);
}

Result<std::unique_ptr<link::Link>> makeTcp(const link::Uri& uri, const link::Context& context) {
  const auto meter = readMeterOptions(uri, kEvery_ns, {"channel", "ask", "end", "wait_ms"});
  if (!meter) return meter.error();
  auto settings = settingsOf(uri, *meter);
  if (!settings) return settings.error();
  const auto at = hostAndPort(uri);
  if (!at) return at.error();
  return std::unique_ptr<link::Link>(
      std::make_unique<ScpiLink<TcpLink>>(*std::move(settings), uri, at->first, at->second, context));
}

}  // namespace

link::Scheme scpiScheme() {
  return {
      "scpi",
      "scpi:PORT?V=V(pin16,pin4)&I=I(feed)[&baud=115200][&channel=N]...  a supply or meter on a serial port "
      "(docs/meters.md)",
      makeSerial, true};
}

link::Scheme scpiTcpScheme() {
  return {"scpi-tcp", "scpi-tcp:HOST[:5025]?V=V(src+,src-)...  the same over the network", makeTcp, true};
}

}  // namespace pin16::supply
