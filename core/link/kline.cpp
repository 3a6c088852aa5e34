// SPDX-License-Identifier: Apache-2.0
#include "core/link/kline.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <deque>
#include <optional>

#include "core/limits/limits.hpp"
#include "core/link/kline_init.hpp"
#include "core/link/kline_parser.hpp"
#include "core/link/kline_wire.hpp"
#include "core/link/line_format.hpp"
#include "core/link/serial_link.hpp"

namespace pin16::link {
namespace {

using event::Medium;

constexpr Ns kEchoWait_ns = 100 * kNsPerMs;
/// Beyond P1 max what a port with a latency timer of 16 ms may add (common practice, no source).
constexpr Ns kPortLatency_ns = 16 * kNsPerMs;
/// Beyond P3 min: a request is never early because the last byte was read late.
constexpr Ns kP3Room_ns = 5 * kNsPerMs;
/// What the last message before closing may take: P3 min and nine bytes.
constexpr Ns kClosing_ns = 300 * kNsPerMs;
constexpr Ns kNotes_ns = kNsPerSecond;
constexpr std::uint8_t kStopCommunication = 0x82;

struct KLineOptions {
  std::string init;  ///< empty: not named
  Medium medium = Medium::iso14230_4;
  bool echo = true;
  KLineDrive drive = KLineDrive::brk;
};

class KLineLink final : public SerialLink {
 public:
  KLineLink(const Uri& uri, const KLineOptions& options, const Context& context)
      : SerialLink(uri, uri.target, {kKLineBaud, true, options.drive == KLineDrive::brk}, context,
                   "K-line lead on " + uri.target),
        options_(options),
        medium_(options.medium),
        p3_min_ns_(fromMs(limits_.value("timing.kline_p3_min_ms"))),
        p3_max_ns_(fromMs(limits_.value("timing.kline_p3_max_ms"))),
        parser_(medium_, fromMs(limits_.value("timing.kline_p1_max_ms")) + kPortLatency_ns),
        timer_(context.io),
        hold_ns_(fromMs(limits_.value("timing.line_quiet_ms"))) {}
  ~KLineLink() override { close(); }

  Status send(Permit permit) override;
  [[nodiscard]] bool rateNamed() const override { return !options_.init.empty(); }

 private:
  enum class Doing : std::uint8_t {
    nothing,
    levels,    ///< of an initialisation are on the line
    dialogue,  ///< of an initialisation
    inverse,   ///< our inverted key byte is on its way
    message,   ///< a permit's message is on its way
  };

  // DeviceLink
  void onOpened() override;
  void onBytes(Ns t_ns, ByteView bytes) override;
  void onLost() override;
  void onClosing() override;
  [[nodiscard]] bool tellsBytes() const override { return true; }

  void initialise();
  void transmit();
  void next();
  void startJob(KLineJob job, ByteView echo);
  void onJobDone(const KLineDone& done);
  void onEchoWhole(Ns t_ns);
  void onOthers(Ns t_ns, ByteView bytes);
  void takeItem(const KLineItem& item);
  void takeReply();
  void checkInit();
  void initFailed(const std::string& why);
  void sessionEnds(const std::string& why);
  void giveUp(const std::string& why);
  void show(bool session);
  void note(std::string text) {
    context().host.emit(context().index, bootNow(), event::Note{std::move(text), "kline"});
  }
  void arm();
  void onTimer();
  [[nodiscard]] bool fast() const { return options_.init == "fast" || (options_.init.empty() && kwp()); }
  [[nodiscard]] bool kwp() const { return medium_ == Medium::iso14230_4; }

  const KLineOptions options_;
  const limits::Limits limits_;
  Medium medium_;
  Ns p3_min_ns_, p3_max_ns_;
  KLineParser parser_;
  KLineEcho echo_;
  std::unique_ptr<KLineWire> wire_;
  std::uint64_t jobs_ = 0;  ///< counts them: what an earlier one reports is nothing to us
  boost::asio::steady_timer timer_;

  Doing doing_ = Doing::nothing;
  bool session_ = false;
  std::deque<Permit> waiting_;  ///< the first one is being brought to the line
  std::optional<KLineInit> init_;
  Ns last_ns_ = kNoTime;       ///< end of the last byte on the line, ours or another's; first: opened
  Ns idle_from_ns_ = kNoTime;  ///< when an initialisation began: the last byte before it
  Ns first_ns_ = kNoTime;      ///< our message's first byte began
  Bytes job_bytes_;            ///< of the job under way
  Ns echo_until_ns_ = kNoTime;
  Ns hold_ns_ = 0, hold_until_ns_ = kNoTime;  ///< after the end of a session: nothing is sent before
  Ns late_ns_ = 0;                            ///< worst of our own levels in this initialisation
  std::uint64_t told_damage_ = 0;
  Ns note_ns_ = kNoTime;
};

// ---- the port

void KLineLink::onOpened() {
  wire_ = std::make_unique<KLineWire>(makeKLinePort(line().handle(), line().isPty(), options_.drive));
  ++jobs_;
  medium_ = options_.medium;
  parser_.restart(medium_);
  echo_.forget();
  last_ns_ = bootNow();
  show(false);
}

void KLineLink::onLost() {
  wire_.reset();
  hold_until_ns_ = kNoTime;
  ++jobs_;
  init_.reset();
  waiting_.clear();
  doing_ = Doing::nothing;
  session_ = false;
  timer_.cancel();
}

void KLineLink::onClosing() {
  if (wire_) wire_->finish(kClosing_ns);
  // What the wire still did is not read any more.
  if (doing_ == Doing::message && !waiting_.empty()) gave(bootNow(), lineBytes(waiting_.front().line()));
  onLost();
  if (state().session) show(false);
}

void KLineLink::show(bool session) {
  session_ = session;
  event::LinkState next = blank();
  next.bitrate = kKLineBaud;
  next.fd = event::Known::no;
  next.silence = event::Silence::claimed;
  next.time_origin = "user";
  next.medium = medium_;
  next.medium_explains = lineMediumExplains(medium_);
  next.medium_explains.emplace_back("times: those of reading the serial port");
  next.session = session;
  up(bootNow(), std::move(next));
}

// ---- what the gate let out

Status KLineLink::send(Permit permit) {
  if (!wire_) return Error{ErrorKind::link, "the port is not open", state().uri, state().advice};
  if (!permit.isLine() || permit.line().medium != medium_)
    return Error{ErrorKind::link, "this is no message for " + std::string(toText(medium_)), state().uri, ""};
  if (!session_ && !permit.start())
    return Error{ErrorKind::link, "the session has ended meanwhile", state().uri, "ask again"};
  waiting_.push_back(std::move(permit));
  if (doing_ == Doing::nothing) next();
  return {};
}

void KLineLink::next() {
  if (waiting_.empty()) return arm();
  // Until P3 min is over others may still speak: the second of two modules that an initialisation woke. Only
  // then is our echo what has to come next.
  if (session_) hold_until_ns_ = std::max(hold_until_ns_, last_ns_ + p3_min_ns_);
  if (hold_until_ns_ != kNoTime && bootNow() < hold_until_ns_) return arm();
  hold_until_ns_ = kNoTime;
  if (session_)
    transmit();
  else if (waiting_.front().start())
    initialise();
  else
    giveUp("the session has ended meanwhile");
}

void KLineLink::startJob(KLineJob job, ByteView echo) {
  if (options_.echo) echo_.expect(echo);
  job_bytes_.assign(echo.begin(), echo.end());
  first_ns_ = kNoTime;
  wire_->start(std::move(job), [this, alive = token(), mine = ++jobs_](KLineDone done) {
    boost::asio::post(context().io, [this, alive, mine, done = std::move(done)] {
      if (!alive.expired() && mine == jobs_) onJobDone(done);
    });
  });
}

void KLineLink::initialise() {
  const LineStart& start = *waiting_.front().start();
  init_.emplace(limits_, start.address);
  doing_ = Doing::levels;
  late_ns_ = 0;
  const Ns idle_ns = fromMs(limits_.value("timing.kline_w5_min_ms"));
  idle_from_ns_ = last_ns_;
  const Ns not_before_ns = last_ns_ + idle_ns;
  parser_.restart(fast() ? Medium::iso14230_4 : medium_);
  const bool is_fast = fast() && !start.start_communication.data.empty();
  const Bytes bytes = is_fast ? lineBytes(start.start_communication) : Bytes{start.address};
  context().host.emit(context().index, bootNow(),
                      event::Sent{bytes, is_fast ? "initialisation: wake-up pattern, StartCommunication"
                                                 : "initialisation: address at 5 baud"});
  if (is_fast)
    startJob(wakeUp(bytes, not_before_ns), bytes);
  else
    startJob(fiveBaud(start.address, not_before_ns), {});
}

void KLineLink::transmit() {
  const Bytes bytes = lineBytes(waiting_.front().line());
  doing_ = Doing::message;
  context().host.emit(context().index, bootNow(), event::Sent{bytes, waiting_.front().purpose()});
  startJob(bytesJob(bytes, last_ns_ + p3_min_ns_ + kP3Room_ns), bytes);
}

void KLineLink::onJobDone(const KLineDone& done) {
  if (!done.ok) return giveUp("the port did not take it");
  const Ns end_ns = done.times_ns.back();
  if (doing_ == Doing::levels) {
    late_ns_ = std::max(late_ns_, done.worst_ns);
    const auto span_ms = [&](std::size_t to) { return toMs(done.times_ns[to] - done.times_ns[0]); };
    init_->note("W5", toMs(done.times_ns[0] - idle_from_ns_), "timing.kline_w5_min_ms", nullptr);
    doing_ = Doing::dialogue;
    if (!fast()) {
      const std::uint8_t address = waiting_.front().start()->address;
      gave(end_ns, {&address, 1});
      last_ns_ = end_ns;
      init_->addressSent(end_ns);
      return arm();
    }
    init_->note("TiniL", span_ms(1), "timing.kline_tinil_min_ms", "timing.kline_tinil_max_ms");
    init_->note("TWuP", span_ms(2), "timing.kline_twup_min_ms", "timing.kline_twup_max_ms");
  }
  if (!options_.echo) {
    first_ns_ = done.times_ns.front();
    gave(end_ns + kKLineByte_ns, job_bytes_);
    onEchoWhole(end_ns + kKLineByte_ns);
  } else if (echo_.waiting()) {
    echo_until_ns_ = end_ns + kKLineByte_ns + kEchoWait_ns;
  }
  arm();
}

// ---- what is on the line

void KLineLink::onBytes(Ns t_ns, ByteView bytes) {
  seen(t_ns);
  if (doing_ == Doing::levels && !echo_.waiting()) return;  // 5 baud: echo of our own levels
  if (doing_ == Doing::levels && first_ns_ == kNoTime)      // the low level, read as zeros
    while (!bytes.empty() && bytes.front() == 0) bytes = bytes.subspan(1);
  if (bytes.empty()) return;
  if (echo_.waiting()) {
    const std::size_t ours = echo_.match(bytes);
    if (ours > 0) {
      last_ns_ = t_ns - static_cast<Ns>(bytes.size() - ours) * kKLineByte_ns;
      if (first_ns_ == kNoTime) first_ns_ = last_ns_ - static_cast<Ns>(ours) * kKLineByte_ns;
      gave(last_ns_, bytes.first(ours));
    }
    bytes = bytes.subspan(ours);
    if (echo_.collided()) {
      context().host.onBytes(context().index, t_ns, bytes, false);
      last_ns_ = t_ns;
      return giveUp(fmt::format("{:02X} was on the line instead of our byte: a collision, or a disturbance",
                                bytes.front()));
    }
    if (!echo_.waiting()) onEchoWhole(last_ns_);
  }
  if (!bytes.empty()) onOthers(t_ns, bytes);
  arm();
}

void KLineLink::onEchoWhole(Ns t_ns) {
  echo_until_ns_ = kNoTime;
  last_ns_ = t_ns;
  if (doing_ == Doing::message) {
    event::Line ours = waiting_.front().line();
    ours.ours = true;
    ours.first_ns = first_ns_;
    const bool stop = !ours.data.empty() && ours.data[0] == kStopCommunication;
    waiting_.pop_front();
    doing_ = Doing::nothing;
    context().host.emit(context().index, t_ns, ours);
    if (stop) {
      sessionEnds("");
      hold_until_ns_ = t_ns + hold_ns_;  // for its answer
    }
    if (doing_ == Doing::nothing) next();
  } else if (doing_ == Doing::inverse) {
    doing_ = Doing::dialogue;
    init_->inverseSent(t_ns - kKLineByte_ns, t_ns);
  } else if (init_) {
    init_->startSent(t_ns);
  }
}

void KLineLink::onOthers(Ns t_ns, ByteView bytes) {
  context().host.onBytes(context().index, t_ns, bytes, /*outbound=*/false);
  last_ns_ = t_ns;
  if (init_ && !fast()) {
    Ns end_ns = t_ns - static_cast<Ns>(bytes.size() - 1) * kKLineByte_ns;
    for (const std::uint8_t byte : bytes) {
      if (init_) init_->onByte(end_ns, byte);
      end_ns += kKLineByte_ns;
    }
    takeReply();
    return checkInit();
  }
  std::vector<KLineItem> items;
  parser_.take(t_ns, bytes, items);
  for (const KLineItem& item : items) takeItem(item);
}

void KLineLink::takeItem(const KLineItem& item) {
  if (item.damaged) return;  // counted by the parser, told by the timer
  context().host.emit(context().index, item.end_ns, item.line);
  if (!init_) return;
  init_->onLine(item.line);
  checkInit();
}

void KLineLink::takeReply() {
  const auto reply = init_->takeReply();
  if (!reply) return;
  doing_ = Doing::inverse;
  const std::uint8_t byte = reply->byte;
  startJob(bytesJob({&byte, 1}, reply->not_before_ns), {&byte, 1});
}

void KLineLink::checkInit() {
  if (!init_ || !init_->outcome()) return;
  const InitOutcome outcome = *init_->outcome();
  if (!outcome.done) return initFailed(toText(outcome));
  init_.reset();
  doing_ = Doing::nothing;
  note(
      fmt::format("initialised: {}; our own levels at most {:.2f} ms late", toText(outcome), toMs(late_ns_)));
  const bool other = outcome.medium != medium_;
  medium_ = outcome.medium;
  parser_.restart(medium_);
  show(true);
  if (other) {
    note(fmt::format("the module speaks {}: the request was not sent in the form of another medium",
                     toText(medium_)));
    waiting_.clear();
    context().host.onUnsent(context().index, bootNow());
  }
  if (doing_ == Doing::nothing) next();
}

// ---- what goes wrong

void KLineLink::initFailed(const std::string& why) {
  giveUp(fmt::format("not initialised: {}; our own levels at most {:.2f} ms late", why, toMs(late_ns_)));
}

/// What waits is not sent; the line is as before any session.
void KLineLink::giveUp(const std::string& why) {
  note(why);
  ++jobs_;
  wire_ = std::make_unique<KLineWire>(makeKLinePort(line().handle(), line().isPty(), options_.drive));
  init_.reset();
  echo_.forget();
  echo_until_ns_ = kNoTime;
  doing_ = Doing::nothing;
  waiting_.clear();
  parser_.restart(medium_);
  sessionEnds("");
  context().host.onUnsent(context().index, bootNow());
  arm();
}

void KLineLink::sessionEnds(const std::string& why) {
  if (!why.empty()) note(why);
  if (session_) show(false);
}

// ---- time

void KLineLink::arm() {
  Ns due = parser_.due();
  const auto earlier = [&](Ns t) {
    if (t != kNoTime) due = due == kNoTime ? t : std::min(due, t);
  };
  earlier(echo_until_ns_);
  earlier(hold_until_ns_);
  if (init_) earlier(init_->deadline());
  if (session_ && doing_ == Doing::nothing) earlier(last_ns_ + p3_max_ns_);
  if (parser_.damaged() != told_damage_) earlier(note_ns_ == kNoTime ? 0 : note_ns_ + kNotes_ns);
  if (due == kNoTime) {
    timer_.cancel();
    return;
  }
  timer_.expires_after(std::chrono::nanoseconds(std::max<Ns>(0, due - bootNow())));
  timer_.async_wait([this, alive = token()](const boost::system::error_code& ec) {
    if (!ec && !alive.expired()) onTimer();
  });
}

void KLineLink::onTimer() {
  if (!wire_) return;
  const Ns now_ns = bootNow();
  std::vector<KLineItem> items;
  parser_.onTime(now_ns, items);
  for (const KLineItem& item : items) takeItem(item);
  if (hold_until_ns_ != kNoTime && now_ns >= hold_until_ns_ && doing_ == Doing::nothing) return next();
  if (echo_until_ns_ != kNoTime && now_ns >= echo_until_ns_)
    return giveUp(
        "nothing of what was sent came back: no supply at the lead, the line held low, or a lead that "
        "keeps the echo away (echo=off)");
  if (init_) {
    init_->onTime(now_ns);
    checkInit();
  }
  if (session_ && doing_ == Doing::nothing && now_ns >= last_ns_ + p3_max_ns_)
    sessionEnds("the session has ended: nothing on the line for P3 max");
  if (parser_.damaged() != told_damage_ && (note_ns_ == kNoTime || now_ns >= note_ns_ + kNotes_ns)) {
    note(fmt::format("{} bytes that make no message", parser_.damaged() - told_damage_));
    told_damage_ = parser_.damaged();
    note_ns_ = now_ns;
  }
  arm();
}

// ---- the scheme

Result<KLineOptions> readOptions(const Uri& uri) {
  KLineOptions o;
  const auto wrong = [&](const char* key, const char* expected) {
    return Error{ErrorKind::usage, fmt::format("{}={} is not known", key, uri.option(key)), uri.text,
                 expected};
  };
  o.init = uri.option("init");
  if (!o.init.empty() && o.init != "5baud" && o.init != "fast")
    return wrong("init", "write init=5baud or init=fast");
  const std::string medium = uri.option("medium");
  if (medium == toText(Medium::iso9141_2) || (medium.empty() && o.init == "5baud"))
    o.medium = Medium::iso9141_2;
  else if (!medium.empty() && medium != toText(Medium::iso14230_4))
    return wrong("medium", "write medium=iso9141-2 or medium=iso14230-4");
  if (o.init == "fast" && o.medium == Medium::iso9141_2)
    return Error{ErrorKind::usage, "ISO 9141-2 knows no fast initialisation", uri.text, "write init=5baud"};
  const std::string echo = uri.option("echo");
  if (!echo.empty() && echo != "on" && echo != "off") return wrong("echo", "write echo=on or echo=off");
  o.echo = echo != "off";
  const std::string drive = uri.option("drive");
  if (drive == "rts")
    o.drive = KLineDrive::rts;
  else if (drive == "dtr")
    o.drive = KLineDrive::dtr;
  else if (!drive.empty() && drive != "break")
    return wrong("drive", "write drive=break, drive=rts or drive=dtr");
  return o;
}

}  // namespace

Scheme kLineScheme() {
  Scheme s;
  s.name = "kline";
  s.help =
      "kline:/dev/ttyUSB1?init=5baud|fast[&medium=iso9141-2|iso14230-4&echo=off&drive=rts|dtr]: a plain "
      "K-line lead";
  s.make = [](const Uri& uri, const Context& context) -> Result<std::unique_ptr<Link>> {
    if (Status known = allowOptions(uri, {"init", "medium", "echo", "drive"}); !known) return known.error();
    const auto options = readOptions(uri);
    if (!options) return options.error();
    return std::unique_ptr<Link>(std::make_unique<KLineLink>(uri, *options, context));
  };
  return s;
}

}  // namespace pin16::link
