// SPDX-License-Identifier: Apache-2.0
#include "core/link/slcan.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>
#include <spdlog/spdlog.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <deque>

#include "core/base/log.hpp"
#include "core/link/serial_link.hpp"
#include "core/link/slcan_clock.hpp"
#include "core/link/slcan_parser.hpp"

namespace pin16::link {
namespace {

using event::Known;
using event::LinkCondition;
using std::chrono::milliseconds;
using What = SlcanLine::What;

constexpr std::array<std::uint32_t, 9> kRates = {10000,  20000,  50000,  100000, 125000,
                                                 250000, 500000, 800000, 1000000};
// ISO 15765-4 knows 250 and 500 kbit/s on the diagnostic connector; listening at a wrong one harms nobody.
constexpr std::uint32_t kRateUsual = 500000;
constexpr std::uint32_t kBaudUsual = 115200;
// Own figures.
constexpr milliseconds kAnswer{700};
constexpr milliseconds kPollEvery{1000};
constexpr int kMissedMost = 3;               // polls in a row without an answer or any other byte
constexpr std::size_t kUnansweredMost = 10;  // frames that wait for the adapter's word
constexpr Ns kForgetFrame_ns = kNsPerSecond;
constexpr Ns kCountersEvery_ns = 100 * kNsPerMs;

struct Settings {
  std::size_t rate = 0;  ///< index in kRates
  bool listen_only = true;
};

/// 1, 2 or 5 times a power of ten, not below `ns`: a figure that does not change with every answer.
Ns roundedUp(Ns ns) {
  for (Ns power = 1;; power *= 10)
    for (const Ns step : {1, 2, 5})
      if (step * power >= ns) return step * power;
}

std::string hexStart(ByteView bytes) { return toHex(bytes, " "); }

class SlcanLink final : public SerialLink {
 public:
  SlcanLink(const Uri& uri, Settings settings, SerialSettings serial, const Context& context)
      : SerialLink(uri, uri.target, serial, context, "serial CAN adapter"),
        settings_(settings),
        timer_(context.io) {}
  Status send(Permit permit) override;
  [[nodiscard]] event::Silence silentAtBest() const override {
    return settings_.listen_only ? event::Silence::claimed : event::Silence::cannot;
  }

 private:
  enum class Step { closed, sync, close, serial, rate, stamps, open, up };
  /// A command that is not answered yet.
  struct Pending {
    bool frame = false;  ///< else the poll
    event::CanFrame what;
    Ns written_ns = 0;
  };

  void onOpened() override;
  void onBytes(Ns t_boot_ns, ByteView bytes) override;
  void onLost() override;
  void onClosing() override;
  void describeTrouble(event::LinkState& state) const override {
    if (refuses_listening_) state.listen_only = Known::no;
  }

  void ask(Step step, std::string_view command);
  void schedule(milliseconds delay);
  void onTimer();
  void fail(std::string text, std::string advice);
  void failUnanswered();
  void failNonsense();
  void failOpening();
  /// Who told its version is an adapter, on however noisy a line.
  [[nodiscard]] bool doubtful() const {
    return version_.empty() && (nonsense_ || (!understood_ && !first_bytes_.empty()));
  }
  void onOpeningLine(Ns t_ns, const SlcanLine& line);
  void onVerdict(Ns t_ns, bool done);
  void opened(Ns t_ns);

  void onLine(Ns t_ns, const SlcanLine& line);
  void onFrame(Ns t_ns, const SlcanLine& line);
  void onSent(Ns t_ns, bool extended);
  void onDone();
  void onRefused();
  void onFlags(Ns t_ns, unsigned flags);
  void onErrors(Ns t_ns, const SlcanLine& line);
  void onState(Ns t_ns, const SlcanLine& line);
  void onDamaged(Ns t_ns, const SlcanLine& line);
  void poll();
  void pollOtherwise();
  bool takePoll(Ns t_ns);
  void measured(Ns t_ns, Ns written_ns);
  void lose(Ns t_ns, std::uint64_t count);
  [[nodiscard]] event::LinkState facts() const;
  void show() { become(facts()); }

  const Settings settings_;
  boost::asio::steady_timer timer_;
  SlcanParser parser_;
  SlcanClock clock_;
  Step step_ = Step::closed;
  Ns asked_ns_ = 0;
  Bytes first_bytes_;        ///< of an opening that is not understood
  bool understood_ = false;  ///< a line of the opening
  bool nonsense_ = false;    ///< another one was not
  bool refuses_listening_ = false;
  std::string version_, serial_;
  bool stamped_ = false;
  Ns fastest_ns_ = kNoTime, slowest_ns_ = kNoTime;  ///< answers so far

  std::deque<Pending> pending_;
  std::string_view poll_;  ///< empty: the adapter answers none
  bool poll_answered_ = false;
  int polls_missed_ = 0;
  bool heard_ = false;  ///< any byte since the last poll
  bool state_lines_ = false;
  bool overrun_told_ = false;
  std::string controller_ = "unknown";
  int tx_errors_ = -1, rx_errors_ = -1;
  Known fd_ = Known::unknown;
  Ns shown_ns_ = 0;  ///< counters
  std::string text_, advice_;
};

// ---- opening

void SlcanLink::onOpened() {
  onLost();
  refuses_listening_ = false;
  if (state().condition == LinkCondition::opening) become(blank());  // else what was the matter stays shown
  // The first one ends what another program left half written. No empty line: a device with an AT command set
  // would do again what it did last, maybe send; nor C before it is known that this is none: it is a hex
  // digit.
  ask(Step::sync, "V\rV\r");
}

void SlcanLink::onLost() {
  timer_.cancel();
  parser_ = SlcanParser();
  clock_ = SlcanClock();
  step_ = Step::closed;
  pending_.clear();
  first_bytes_.clear();
  version_.clear();
  serial_.clear();
  controller_ = "unknown";
  text_.clear();
  advice_.clear();
  understood_ = nonsense_ = stamped_ = poll_answered_ = state_lines_ = overrun_told_ = false;
  polls_missed_ = 0;
  fastest_ns_ = slowest_ns_ = kNoTime;
  tx_errors_ = rx_errors_ = -1;
  fd_ = Known::unknown;
}

void SlcanLink::onClosing() {
  timer_.cancel();
  if (step_ != Step::closed) control("C\r");
  step_ = Step::closed;
}

void SlcanLink::ask(Step step, std::string_view command) {
  step_ = step;
  asked_ns_ = bootNow();
  // A write that fails ends in onLost(): then there is nothing to wait for.
  if (control(command) && step_ == step) schedule(kAnswer);
}

void SlcanLink::schedule(milliseconds delay) {
  timer_.expires_after(delay);
  timer_.async_wait([this, alive = token()](const boost::system::error_code& ec) {
    if (!ec && !alive.expired()) onTimer();
  });
}

void SlcanLink::onTimer() {
  switch (step_) {
    case Step::closed:
      return;
    case Step::sync:
      // Without a version: an adapter that knows no V, or none.
      return doubtful() ? failNonsense() : ask(Step::close, "C\r");
    case Step::close:
      if (doubtful()) return failNonsense();
      return version_.empty() && !understood_ ? failUnanswered() : ask(Step::serial, "N\r");
    case Step::serial:
      return ask(Step::rate, fmt::format("S{}\r", settings_.rate));
    case Step::stamps:
      return ask(Step::open, settings_.listen_only ? "L\r" : "O\r");
    case Step::rate:
    case Step::open:
      return doubtful() ? failNonsense() : failUnanswered();
    case Step::up:
      return poll();
  }
}

void SlcanLink::fail(std::string text, std::string advice) {
  reopenLater(LinkCondition::failed, std::move(text), std::move(advice));
}

void SlcanLink::failUnanswered() {
  fail(fmt::format("{} does not answer as a serial CAN adapter does: nothing came within {} ms",
                   line().path(), kAnswer.count()),
       "Is it the right port (`pin16 links` lists them), is the adapter fed, and, behind a serial converter, "
       "is its baud rate named, as in ?baud=115200");
}

void SlcanLink::failNonsense() {
  fail(fmt::format("{} is no serial CAN adapter, or talks at another baud rate: it sent {}", line().path(),
                   context().host.blanksContent() ? "something else" : hexStart(first_bytes_)),
       "`pin16 links` lists the ports; another kind of device needs another scheme, another baud rate is "
       "named as in ?baud=115200");
}

void SlcanLink::failOpening() {
  if (!settings_.listen_only)
    return fail("the adapter refuses to open", "unplug it and plug it in again, or try another one");
  refuses_listening_ = true;
  fail("the adapter refuses listen-only (L); it was not opened, because open it acknowledges every frame",
       "Take an adapter that can listen only; or, if acknowledging does no harm here and the bit rate is "
       "known, add listen=no");
}

void SlcanLink::onBytes(Ns t_boot_ns, ByteView bytes) {
  constexpr std::size_t kShown = 24;
  heard_ = true;
  if (step_ != Step::up && first_bytes_.size() < kShown)
    first_bytes_.insert(
        first_bytes_.end(), bytes.begin(),
        bytes.begin() + static_cast<std::ptrdiff_t>(std::min(bytes.size(), kShown - first_bytes_.size())));
  std::vector<SlcanLine> lines;
  parser_.take({reinterpret_cast<const char*>(bytes.data()), bytes.size()}, lines);
  for (const SlcanLine& l : lines) {
    if (step_ == Step::up)
      onLine(t_boot_ns, l);
    else
      onOpeningLine(t_boot_ns, l);
    if (step_ == Step::closed) return;  // given up, or closed by the host
  }
  if (step_ == Step::up) seen(t_boot_ns);
}

void SlcanLink::onOpeningLine(Ns t_ns, const SlcanLine& line) {
  understood_ = understood_ || line.what != What::damaged;
  switch (line.what) {
    case What::version:
      version_ = line.text;
      if (step_ != Step::sync) return;
      return ask(Step::close, "C\r");
    case What::serial:
      serial_ = line.text;
      if (step_ == Step::serial) onTimer();
      return;
    case What::done:
      return onVerdict(t_ns, true);
    case What::refused:
      return onVerdict(t_ns, false);
    case What::damaged:
      nonsense_ = true;
      return;
    default:
      return;  // it was open before, and speaks until it is closed
  }
}

void SlcanLink::onVerdict(Ns t_ns, bool done) {
  if (step_ == Step::sync) return;
  measured(t_ns, asked_ns_);
  switch (step_) {
    case Step::close:  // refused: it was closed
    case Step::serial:
      return onTimer();
    case Step::rate:
      if (doubtful()) return failNonsense();
      if (!done)
        return fail(fmt::format("the adapter refuses {} bit/s", kRates[settings_.rate]),
                    "Take another bit rate or another adapter");
      return ask(Step::stamps, "Z1\r");
    case Step::stamps:
      stamped_ = done;
      return onTimer();
    case Step::open:
      if (doubtful()) return failNonsense();
      return done ? opened(t_ns) : failOpening();
    default:
      return;
  }
}

void SlcanLink::opened(Ns t_ns) {
  step_ = Step::up;
  poll_ = "F\r";
  up(t_ns, facts());
  if (step_ == Step::up) poll();
}

event::LinkState SlcanLink::facts() const {
  event::LinkState s = blank();
  s.condition = LinkCondition::up;
  if (!version_.empty()) s.description += ", version " + version_;
  if (!serial_.empty()) s.description += ", serial number " + serial_;
  s.bitrate = kRates[settings_.rate];
  s.fd = fd_;
  s.listen_only = settings_.listen_only ? Known::yes : Known::no;
  s.silence = settings_.listen_only ? event::Silence::claimed : event::Silence::cannot;
  s.controller = controller_;
  s.tx_errors = tx_errors_;
  s.rx_errors = rx_errors_;
  s.time_origin = stamped_ ? "adapter" : "user";
  if (fastest_ns_ != kNoTime)
    s.time_error_ns = roundedUp(stamped_ ? SlcanClock::kResolution_ns + fastest_ns_ : slowest_ns_);
  s.text = text_;
  s.advice = advice_;
  s.own_frames = event::OwnFrames::taken;
  s.medium_explains = {
      "acknowledge: the adapter says that it has a frame, not that somebody acknowledged it; only an error "
      "that it tells of, or an answer, shows which"};
  if (settings_.listen_only)
    s.medium_explains.emplace_back("silence: that it only listens is the adapter's word");
  if (!state_lines_)
    s.medium_explains.emplace_back(
        "controller: its state comes from flags, once a second; its counters not at all");
  if (!stamped_) s.medium_explains.emplace_back("times: those of reading the serial port");
  return s;
}

// ---- up

void SlcanLink::onLine(Ns t_ns, const SlcanLine& line) {
  switch (line.what) {
    case What::frame:
      return onFrame(t_ns, line);
    case What::done:
      return onDone();
    case What::refused:
      return onRefused();
    case What::sent:
      return onSent(t_ns, line.extended);
    case What::flags:
      return onFlags(t_ns, line.flags);
    case What::version:
      takePoll(t_ns);
      return;
    case What::serial:
      return;
    case What::errors:
      return onErrors(t_ns, line);
    case What::state:
      return onState(t_ns, line);
    case What::damaged:
      return onDamaged(t_ns, line);
  }
}

void SlcanLink::onFrame(Ns t_ns, const SlcanLine& line) {
  const bool stamped = line.stamp_ms.has_value();
  const bool news = stamped != stamped_ || (line.frame.fd() && fd_ != Known::yes);
  stamped_ = stamped;
  if (line.frame.fd()) fd_ = Known::yes;
  if (news) show();
  if (stamped)
    t_ns = clock_.toBoot(*line.stamp_ms, t_ns);
  else
    clock_.passed(t_ns);
  context().host.onFrame(context().index, t_ns, line.frame, /*outbound=*/false);
}

void SlcanLink::onSent(Ns t_ns, bool extended) {
  const auto ours = std::find_if(pending_.begin(), pending_.end(),
                                 [&](const Pending& p) { return p.frame && p.what.extended() == extended; });
  if (ours == pending_.end()) return;
  measured(t_ns, ours->written_ns);
  const event::CanFrame frame = ours->what;
  pending_.erase(ours);
  clock_.passed(t_ns);
  if (!text_.empty()) {
    text_.clear();
    advice_.clear();
    show();
  }
  context().host.onFrame(context().index, t_ns, frame, /*outbound=*/true);
}

/// CR alone: it has our frame and says no more of it.
void SlcanLink::onDone() {
  if (!pending_.empty() && pending_.front().frame) pending_.pop_front();
}

void SlcanLink::onRefused() {
  if (pending_.empty()) return;
  const Pending refused = pending_.front();
  pending_.pop_front();
  if (!refused.frame) return pollOtherwise();
  roomLog("link")->warn("{}: the adapter refused {}", state().uri, slcanText(refused.what));
  text_ =
      "the adapter refused a frame: its queue is full, it is bus-off, or it has no supply on the bus side";
  advice_ = "Is another node there, at the same bit rate? Look at supply and wiring of the connector";
  show();
}

void SlcanLink::onFlags(Ns t_ns, unsigned flags) {
  if (!takePoll(t_ns)) return;
  if ((flags & kSlcanOverrun) != 0 && !overrun_told_) lose(t_ns, 1);
  overrun_told_ = false;
  if (!state_lines_)
    controller_ = (flags & kSlcanPassive) != 0   ? "error-passive"
                  : (flags & kSlcanWarning) != 0 ? "error-warning"
                                                 : "error-active";
  show();
}

void SlcanLink::onErrors(Ns t_ns, const SlcanLine& line) {
  clock_.passed(t_ns);
  context().host.onFrame(context().index, t_ns, line.frame, /*outbound=*/false);
  if (!line.overrun) return;
  overrun_told_ = true;
  lose(t_ns, 1);
}

/// As the kernel's driver: an error frame for a change only. Counters alone are shown now and then.
void SlcanLink::onState(Ns t_ns, const SlcanLine& line) {
  const bool changed = controller_ != line.controller;
  const bool was_known = state_lines_ || controller_ != "unknown";
  state_lines_ = true;
  controller_ = line.controller;
  rx_errors_ = line.rx_errors;
  tx_errors_ = line.tx_errors;
  if (changed && (was_known || controller_ != "error-active")) {
    clock_.passed(t_ns);
    context().host.onFrame(context().index, t_ns, line.frame, /*outbound=*/false);
  }
  if (!changed && t_ns - shown_ns_ < kCountersEvery_ns) return;
  shown_ns_ = t_ns;
  show();
}

void SlcanLink::onDamaged(Ns t_ns, const SlcanLine& line) {
  // Not what it said: that may be a damaged frame of a message that must not be kept.
  roomLog("link")->debug("{}: a line of {} characters was not understood", state().uri, line.text.size());
  lose(t_ns, 1);
}

void SlcanLink::lose(Ns t_ns, std::uint64_t count) {
  context().host.emit(context().index, t_ns, event::Loss{event::LossPlace::adapter, count});
}

void SlcanLink::poll() {
  const Ns now_ns = bootNow();
  const auto old = [&](const Pending& p) { return !p.frame || now_ns - p.written_ns > kForgetFrame_ns; };
  const bool unanswered =
      std::any_of(pending_.begin(), pending_.end(), [](const Pending& p) { return !p.frame; });
  std::erase_if(pending_, old);
  polls_missed_ = unanswered && !heard_ ? polls_missed_ + 1 : 0;
  if (polls_missed_ >= kMissedMost && poll_answered_)
    return reopenLater(LinkCondition::gone,
                       fmt::format("{} has stopped answering: without supply, or hung", line().path()),
                       "Look at its lamp and its supply; unplug it and plug it in again");
  if (polls_missed_ >= kMissedMost) pollOtherwise();
  heard_ = false;
  if (!poll_.empty()) {
    pending_.push_back({false, {}, now_ns});
    control(poll_);
  }
  if (step_ == Step::up) schedule(kPollEvery);
}

/// An adapter that knows no F tells by its version that it is alive.
void SlcanLink::pollOtherwise() {
  poll_ = poll_ == "F\r" && !version_.empty() ? "V\r" : "";
  polls_missed_ = 0;
}

bool SlcanLink::takePoll(Ns t_ns) {
  const auto asked =
      std::find_if(pending_.begin(), pending_.end(), [](const Pending& p) { return !p.frame; });
  if (asked == pending_.end()) return false;
  measured(t_ns, asked->written_ns);
  pending_.erase(asked);
  poll_answered_ = true;
  return true;
}

void SlcanLink::measured(Ns t_ns, Ns written_ns) {
  const Ns took_ns = std::max<Ns>(t_ns - written_ns, 1);
  fastest_ns_ = fastest_ns_ == kNoTime ? took_ns : std::min(fastest_ns_, took_ns);
  slowest_ns_ = std::max(slowest_ns_, took_ns);
}

Status SlcanLink::send(Permit permit) {
  const event::CanFrame& f = permit.frame();
  const auto refuse = [this](std::string what, std::string advice) {
    return Error{ErrorKind::link, std::move(what), state().uri, std::move(advice)};
  };
  if (step_ != Step::up)
    return refuse(state().text.empty() ? "the adapter is not open yet" : state().text, state().advice);
  if (settings_.listen_only)
    return refuse(
        "the adapter was opened listen-only and cannot send; nothing was sent",
        fmt::format("Leaving listen-only makes this adapter acknowledge every frame on the bus. If that is "
                    "wanted: {}:{}?bitrate={}&listen=no",
                    "slcan", line().path(), kRates[settings_.rate]));
  if (controller_ == "bus-off")
    return refuse("the adapter's controller is bus-off",
                  "Check bit rate and wiring, then start anew: opening it again ends bus-off");
  if (f.fd()) return refuse("the serial CAN protocol sends no CAN FD frames", "Take a kernel CAN interface");
  if (std::count_if(pending_.begin(), pending_.end(), [](const Pending& p) { return p.frame; }) >=
      static_cast<std::ptrdiff_t>(kUnansweredMost))
    return refuse(
        fmt::format("the adapter has not taken the last {} frames", kUnansweredMost),
        "Is another node there, at the same bit rate? Else unplug the adapter and plug it in again");
  const Ns now_ns = bootNow();
  event::Sent sent;
  event::Batch::writeFrame(sent.frame, f);
  sent.purpose = permit.purpose();
  context().host.emit(context().index, now_ns, sent);
  const std::string text = slcanText(f) + "\r";
  pending_.push_back({true, f, now_ns});
  if (write({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()})) return {};
  if (!pending_.empty()) pending_.pop_back();
  return refuse("the serial line takes no more bytes", "Unplug the adapter and plug it in again");
}

Error rateUnknown(const Uri& uri, std::uint32_t rate) {
  return {ErrorKind::usage, fmt::format("bitrate={} is no standard rate", rate), uri.text,
          fmt::format("these are: {} bit/s", fmt::join(kRates, ", "))};
}

Result<std::unique_ptr<Link>> makeSlcanLink(const Uri& uri, const Context& context) {
  if (const Status s = allowOptions(uri, {"bitrate", "listen", "baud"}); !s) return s.error();
  Settings settings;
  SerialSettings serial;
  const std::string listen = uri.option("listen");
  if (!listen.empty() && listen != "yes" && listen != "no")
    return Error{ErrorKind::usage, fmt::format("listen={} is neither yes nor no", listen), uri.text,
                 "Leave it out to listen only"};
  settings.listen_only = listen != "no";
  if (!settings.listen_only && uri.option("bitrate").empty())
    return Error{
        ErrorKind::usage, "listen=no needs bitrate=: at a wrong rate the adapter disturbs the bus", uri.text,
        fmt::format("`pin16 links --rate-search {}:{}` finds it, listening", uri.scheme, uri.target)};
  const auto bitrate = rateOption(uri, "bitrate", kRateUsual);
  if (!bitrate) return bitrate.error();
  const auto* known = std::find(kRates.begin(), kRates.end(), *bitrate);
  if (known == kRates.end()) return rateUnknown(uri, *bitrate);
  settings.rate = static_cast<std::size_t>(known - kRates.begin());
  const auto baud = rateOption(uri, "baud", kBaudUsual);
  if (!baud) return baud.error();
  serial.baud = *baud;
  return std::unique_ptr<Link>(std::make_unique<SlcanLink>(uri, settings, serial, context));
}

}  // namespace

std::span<const std::uint32_t> slcanRates() { return kRates; }

Scheme slcanScheme() {
  return {"slcan",
          "slcan:DEVICE[?bitrate=500000&listen=yes|no&baud=115200]  a serial CAN adapter, for instance "
          "/dev/ttyACM0; listens only unless listen=no",
          makeSlcanLink};
}

}  // namespace pin16::link
