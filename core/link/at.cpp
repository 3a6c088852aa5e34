// SPDX-License-Identifier: Apache-2.0
#include "core/link/at.hpp"

#include <fmt/format.h>
#include <linux/can/error.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <deque>
#include <set>

#include "core/limits/limits.hpp"
#include "core/link/at_parser.hpp"
#include "core/link/line_format.hpp"
#include "core/link/serial_link.hpp"

namespace pin16::link {
namespace {

namespace asio = boost::asio;
using event::CanFrame;
using event::Medium;
using std::chrono::milliseconds;

// ---- common practice, no source: protocol numbers and commands
constexpr std::string_view kReset = "ATZ", kIdentify = "ATI", kTellProtocol = "ATDPN", kVolts = "ATRV",
                           kMonitor = "ATMA", kOwnFlowOff = "ATCFC0", kNoKeepAlive = "ATSW00";
constexpr std::array<AtProtocol, 9> kProtocols = {{
    {"can11-500", "ATSP6", "6", 500'000, false, Medium::can},
    {"can29-500", "ATSP7", "7", 500'000, true, Medium::can},
    {"can11-250", "ATSP8", "8", 250'000, false, Medium::can},
    {"can29-250", "ATSP9", "9", 250'000, true, Medium::can},
    {"pwm-41600", "ATSP1", "1", 41'600, false, Medium::j1850_pwm},
    {"vpw-10400", "ATSP2", "2", 10'400, false, Medium::j1850_vpw},
    {"iso9141-2", "ATSP3", "3", 10'400, false, Medium::iso9141_2},
    {"kwp-5baud", "ATSP4", "4", 10'400, false, Medium::iso14230_4},
    {"kwp-fast", "ATSP5", "5", 10'400, false, Medium::iso14230_4},
}};
constexpr std::array<std::string_view, 31> kControls = {
    "ATSP1", "ATSP2", "ATSP3",  "ATSP4",   "ATSP5",   "ATAL",         kNoKeepAlive,  "ATZ",
    "ATE0",  "ATL0",  "ATS0",   "ATH1",    "ATI",     "ATM0",         "ATAT0",       "ATSTFF",
    "ATSP6", "ATSP7", "ATSP8",  "ATSP9",   "ATDPN",   "ATCAF0",       "ATCFC0",      "ATBI",
    "ATRV",  "ATMA",  "ATCSM1", "ATCF000", "ATCM000", "ATCF00000000", "ATCM00000000"};
/// One of the starting dialogue, and what it means if the adapter refuses it.
struct Step {
  std::string_view line;
  bool must = false;
  std::string_view without;
};
constexpr std::array<Step, 13> kDialogue = {{
    {kReset, false, ""},
    {"ATE0", false, "it echoes"},
    {"ATL0", false, ""},
    {"ATS0", false, "its lines are longer"},
    {"ATH1", true, ""},
    {kIdentify, false, ""},
    {"ATM0", false, "it remembers the protocol"},
    {"ATAT0", false, "its time-out adapts itself"},
    {"ATSTFF", false, "its own time-out holds"},
    {"protocol", true, ""},  // of the URI
    {kTellProtocol, false, ""},
    {"ATCAF0", false, "the adapter itself makes length byte and padding of requests"},
    {kOwnFlowOff, false, ""},
}};
/// Instead of the last two on a line medium.
constexpr std::array<Step, 2> kLineDialogue = {{
    {"ATAL", false, "it cuts messages of more than 7 bytes"}, {kNoKeepAlive, true, ""},  // K-line
}};
constexpr std::array<Step, 3> kDialogueEnd = {{
    {"ATBI", false, "it may send a request of its own before the first one"},
    {"ATCSM1", false, ""},
    {kVolts, false, "it tells no supply voltage"},
}};

// Own figures, unless said otherwise.
constexpr milliseconds kResetWait{2500};  // a restart takes about 1 s (common practice)
constexpr milliseconds kSettle{100};      // for what a blank may end that was going on
constexpr milliseconds kControlWait{1000};
constexpr milliseconds kStopWait{1000};
constexpr milliseconds kInitWait{8000};      // timing.line_start_ms: two tries at 5 baud
constexpr milliseconds kListenWait{2500};    // the longest time-out that can be set is 255 * 4 ms
constexpr milliseconds kMonitorCheck{5000};  // after so long without a frame it is asked whether it is there
constexpr std::size_t kQueueMost = 4;
constexpr Ns kVoltsEvery_ns = kNsPerSecond;
constexpr Ns kExchangeMost_ns = 1100 * kNsPerMs;  // timing.client_wait_ms and the serial line
constexpr Ns kP3Room_ns = 5 * kNsPerMs;           // beyond P3 min, as the K-line link keeps it
constexpr Ns kPendingMost_ns = 6000 * kNsPerMs;   // P2* server, ISO 14229-2, and a margin
constexpr double kVoltsShare = 0.02;              // uncalibrated, from memory
constexpr double kVoltsHalfDigit_V = 0.05;
constexpr std::uint32_t kDefaultBaud = 38400;
constexpr std::size_t kSaysMost = 40;

struct Settings {
  AtProtocol protocol;
  bool search = false;  ///< until one is found, kSearchOrder
  std::optional<std::uint32_t> answer;
  bool monitor = false;
  bool named = true;
};

/// Of kProtocols. The usual one first (ISO 15765-4 leaves the order to the tester).
constexpr std::array<std::size_t, 4> kSearchOrder = {0, 2, 1, 3};

/// ISO 15765-2: the upper four bits of the first byte.
constexpr unsigned kSingle = 0, kFirst = 1, kConsecutive = 2, kFlow = 3;
unsigned pciOf(const CanFrame& f) { return f.length == 0 ? 0xFF : f.data[0] >> 4U; }

/// Whether who sent `got` must have received `sent`. ISO 14229-1: an answer begins with service + 40, a
/// refusal with 7F and the service.
bool answers(const CanFrame& sent, const CanFrame& got) {
  if (pciOf(sent) == kFlow) return pciOf(got) == kConsecutive;
  const std::uint8_t service = sent.data[1];
  const auto positive = static_cast<std::uint8_t>(service + 0x40);
  if (pciOf(got) == kSingle)
    return got.data[1] == positive || (got.data[1] == 0x7F && got.data[2] == service);
  return pciOf(got) == kFirst && got.data[2] == positive;
}
/// 7F xx 78: "response pending" (ISO 14229-1).
bool isPending(const CanFrame& f) { return pciOf(f) == kSingle && f.data[1] == 0x7F && f.data[3] == 0x78; }

/// Whether who sent `got` must have received `sent`.
bool answers(const event::Line& sent, const event::Line& got) {
  const std::uint8_t service = sent.data[0];
  return !got.data.empty() && (got.data[0] == static_cast<std::uint8_t>(service + 0x40) ||
                               (got.data[0] == 0x7F && got.data.size() > 1 && got.data[1] == service));
}
bool isPending(const event::Line& l) {
  return l.data.size() >= 3 && l.data[0] == 0x7F && l.data.back() == 0x78;
}
constexpr std::uint8_t kStopCommunication = 0x82, kLegislated = 0x33;

std::string upperHex(ByteView bytes) {
  std::string out = toHex(bytes);
  std::transform(out.begin(), out.end(), out.begin(),
                 [](char c) { return c >= 'a' ? static_cast<char>(c - 'a' + 'A') : c; });
  return out;
}

bool isLegislated11(std::uint32_t id) { return id == 0x7DF || (id >= 0x7E0 && id <= 0x7E7); }

class AtLink final : public SerialLink {
 public:
  AtLink(const Uri& uri, std::uint32_t baud, Settings settings, const Context& context)
      : SerialLink(uri, uri.target, {.baud = baud}, context, "AT-command adapter"),
        settings_(settings),
        protocol_(settings.protocol),
        search_(settings.search ? Search::wanted : Search::none),
        baud_(baud),
        watch_(context.io),
        poll_(context.io),
        session_timer_(context.io) {
    const limits::Limits limits;
    p3_min_ns_ = fromMs(limits.value("timing.kline_p3_min_ms"));
    p3_max_ns_ = fromMs(limits.value("timing.kline_p3_max_ms"));
    p4_min_ns_ = fromMs(limits.value("timing.kline_p4_min_ms"));
  }

  Status send(Permit permit) override;
  void exchangeOver() override;
  [[nodiscard]] bool rateNamed() const override {
    return settings_.named && (!settings_.monitor || isLine());
  }

 protected:
  void onOpened() override;
  void onBytes(Ns t_boot_ns, ByteView bytes) override;
  void onLost() override;
  void onClosing() override;

 private:
  enum class Search : std::uint8_t {
    none,     ///< the protocol was named, or found
    wanted,   ///< not begun
    running,  ///< protocol_ is the candidate
    over      ///< nobody answered, or it may not: not done again
  };
  enum class Doing : std::uint8_t {
    nothing,  ///< no port, or the link has no plan
    control,  ///< waits for the prompt after a control line
    prompt,   ///< the adapter waits for us
    request,  ///< a frame was sent; it listens until its time-out
    monitor,  ///< monitor all
    stopping  ///< a blank was written to end listening
  };
  struct Reply {
    bool ok = false, refused = false;
    double volts_V = -1;
    std::string text;
    Ns took_ns = 0;
  };
  struct Outgoing {
    CanFrame frame;
    std::string purpose;
    std::optional<event::Line> line{};  ///< instead of the frame
    std::optional<LineStart> start{};   ///< of a request on a K-line
  };
  /// Our message of which it is not shown yet that it was on the line.
  struct Asked {
    event::Line line;
    bool request = false;    ///< not one that keeps or ends the session
    bool with_init = false;  ///< the adapter initialises the line before it
    Ns sent_ns = 0;          ///< written; or the initialisation was over
    std::string failed{};    ///< the word that says it was not sent
  };
  /// A frame of ours that no answer has proven yet.
  struct Unproven {
    CanFrame frame;
    Ns written_ns;
  };

  // dialogue
  void startStep();
  void stepDone(const Reply& reply);
  void started();
  void setUp();
  // search
  void nextCandidate();
  void askCandidate();
  void candidateDone();
  void searchFailed(std::string text, std::string advice);
  [[nodiscard]] std::string describe() const;
  // lines out
  void writeControl(std::string line);
  void controlDone();
  void writeFrame();
  void writeRequest(const event::Sent& sent);
  void writeMessage(Outgoing out);
  void stop();
  // what next
  void advance();
  void listenOn();
  void address();
  void addressDone(const std::string& line, const Reply& reply);
  void planVolts();
  void voltsDone(const Reply& reply);
  // lines in
  void onItem(const AtItem& item);
  void onWord(const AtItem& item);
  void onFrame(const AtItem& item);
  void onPrompt(Ns t_ns);
  // line media
  Status sendLine(Permit permit);
  void addressLine(const Outgoing& out);
  void onMessage(const AtItem& item);
  void onInitWord(const AtItem& item);
  void onDamage(const AtItem& item);
  void showAsked(Ns before_ns);
  void askedOver();
  void dropUnsent(const Outgoing& out);
  void setSession(bool open);
  void watchSession();
  void tell(const std::string& text) {
    context().host.emit(context().index, bootNow(), event::Note{text, "adapter"});
  }
  void errorFrame(Ns t_ns, std::uint32_t classes);
  // time
  void watch(milliseconds wait);
  void unwatch();
  void overdue();
  void restart(std::string text, std::string advice);

  [[nodiscard]] bool isLine() const { return protocol_.medium != Medium::can; }
  [[nodiscard]] bool isKLine() const { return event::isKLine(protocol_.medium); }
  [[nodiscard]] bool fiveBaud() const { return isKLine() && protocol_.number != "5"; }
  [[nodiscard]] bool refused(std::string_view line) const { return refused_.contains(std::string(line)); }
  [[nodiscard]] bool raw() const { return !refused("ATCAF0"); }
  [[nodiscard]] bool ownFlow() const { return raw() && !refused(kOwnFlowOff); }
  /// It may be given frames.
  [[nodiscard]] bool takesFrames() const { return !starting_ && (isUp() || search_ == Search::running); }
  [[nodiscard]] bool isUp() const { return state().condition == event::LinkCondition::up; }

  const Settings settings_;
  AtProtocol protocol_;
  Search search_;
  std::size_t candidate_ = 0;  ///< of kSearchOrder
  bool candidate_answered_ = false;
  std::string search_text_, search_advice_;  ///< why it is over
  const std::uint32_t baud_;
  AtParser parser_;
  asio::steady_timer watch_, poll_;
  std::uint64_t watch_serial_ = 0;
  Doing doing_ = Doing::nothing;

  // the dialogue
  std::vector<Step> steps_;
  std::size_t step_ = 0;
  int tries_ = 0;
  bool starting_ = false;
  std::set<std::string> refused_;
  std::string says_;
  Ns latency_ns_ = 0;
  std::uint64_t bytes_in_ = 0;

  // the line under way
  std::string line_;
  Ns line_ns_ = 0;
  Reply reply_;

  // frames
  std::deque<Outgoing> queue_;
  std::deque<std::string> settings_out_;   ///< header and filter lines for queue_.front()
  std::uint32_t header_ = UINT32_MAX;      ///< word that is set
  std::string filter_, mask_;              ///< lines that are set
  std::set<std::string> refused_headers_;  ///< lines

  // line media
  Ns p3_min_ns_ = 0, p3_max_ns_ = 0, p4_min_ns_ = 0;
  std::string line_header_, line_address_;  ///< lines that are set
  bool fresh_ = false;                      ///< the protocol was set, and nothing sent since
  std::optional<Asked> asked_;
  bool session_ = false;
  Ns on_line_ns_ = kNoTime;  ///< last message, ours or another's
  asio::steady_timer session_timer_;
  std::uint64_t damaged_ = 0;  ///< lines not yet told
  Ns damage_told_ns_ = kNoTime;

  std::deque<Unproven> unproven_;
  Ns listen_until_ns_ = kNoTime;  ///< longer than its time-out: a pending answer
  Ns open_until_ns_ = kNoTime;    ///< an exchange is open, at most until then
  bool narrow_ = false;           ///< it monitors for the answer of an open exchange
  Ns busy_ns_ = kNoTime;          ///< last frame of an exchange, out or in
  Ns heard_ns_ = kNoTime;         ///< last frame at all
  Ns blind_from_ns_ = kNoTime;    ///< BUFFER FULL while monitoring
  Ns polled_ns_ = kNoTime;
  Ns poll_end_ns_ = kNoTime;  ///< of the last one, if no request came since
  bool told_flow_ = false;
};

// ---- dialogue

void AtLink::onOpened() {
  doing_ = Doing::nothing;
  if (search_ == Search::over) return searchFailed(search_text_, search_advice_);
  if (search_ != Search::none) {
    search_ = Search::wanted;
    candidate_ = 0;
    protocol_ = kProtocols[kSearchOrder[0]];
  }
  parser_.reset();
  parser_.setMedium(protocol_.medium);
  refused_.clear();
  says_.clear();
  latency_ns_ = 0;
  bytes_in_ = 0;
  header_ = UINT32_MAX;
  filter_.clear();
  mask_.clear();
  steps_.assign(kDialogue.begin(), kDialogue.end());
  for (Step& s : steps_)
    if (s.line == "protocol") s.line = protocol_.command;
  if (isLine()) {
    steps_.resize(steps_.size() - kLineDialogue.size());
    steps_.insert(steps_.end(), kLineDialogue.begin(), kLineDialogue.end());
  }
  steps_.insert(steps_.end(), kDialogueEnd.begin(), kDialogueEnd.end());
  std::erase_if(steps_, [this](const Step& s) {
    if (s.line == "ATCSM1") return isLine() || !settings_.monitor;
    if (s.line == "ATBI") return isKLine();  // the initialisation is what it would leave out
    return s.line == kNoKeepAlive && !isKLine();
  });
  line_header_.clear();
  line_address_.clear();
  fresh_ = true;
  step_ = 0;
  tries_ = 0;
  starting_ = true;
  control(" ");
  watch(kSettle);
}

void AtLink::startStep() { writeControl(std::string(steps_[step_].line)); }

void AtLink::stepDone(const Reply& reply) {
  const Step& step = steps_[step_];
  const bool told =
      (!reply.refused && (step.line == kReset || step.line == kIdentify || step.line == kTellProtocol)) ||
      (step.line == kVolts && reply.volts_V >= 0);
  if (!reply.ok && !told) {
    // Once may be damage on the line.
    if (++tries_ < 2) return startStep();
    if (step.must && search_ != Search::none && step.line == protocol_.command) return nextCandidate();
    if (step.must)
      return restart(fmt::format("the adapter refuses {}", step.line),
                     step.line == "ATH1" ? "without headers nobody can tell who answers: use another adapter"
                     : step.line == kNoKeepAlive
                         ? "it would keep a session by messages that nobody permitted: use another adapter"
                         : "it does not know this protocol: name another one, or use another adapter");
    refused_.emplace(step.line);
  }
  if (step.line == kReset || step.line == kIdentify) {
    if (!reply.text.empty() && !reply.refused && !context().host.blanksContent())
      says_ = reply.text.substr(0, kSaysMost);
  } else {
    latency_ns_ = std::max(latency_ns_, reply.took_ns);
  }
  if (step.line == kTellProtocol && reply.text.starts_with('A'))
    return restart("the adapter stays in automatic search, which sends on every bus",
                   "use an adapter that takes a fixed protocol");
  if (step.line == kTellProtocol && !reply.refused && reply.text != protocol_.number)
    return restart(
        fmt::format("the adapter says {} after {}",
                    context().host.blanksContent() ? "another protocol" : "protocol \"" + reply.text + "\"",
                    protocol_.command),
        "use an adapter that takes a fixed protocol");
  if (step.line == kVolts && reply.volts_V >= 0) voltsDone(reply);
  tries_ = 0;
  // Who frames by itself must send flow control by itself too: ours would become a request.
  if (++step_ < steps_.size() && steps_[step_].line == kOwnFlowOff && !raw()) ++step_;
  if (step_ < steps_.size()) return startStep();
  started();
}

std::string AtLink::describe() const {
  std::string out = "AT-command adapter";
  if (!line().entry().text.empty()) out += ", " + line().entry().text;
  if (!says_.empty()) out += fmt::format(", says \"{}\"", says_);
  if (isLine())
    out += fmt::format("; {}, {} kbit/s{}", toText(protocol_.medium), protocol_.bitrate / 1000.0,
                       !isKLine()   ? ""
                       : fiveBaud() ? ", which the adapter initialises at 5 baud with a request"
                                    : ", which the adapter initialises fast with a request");
  else
    out += fmt::format("; CAN {} bit, {} kbit/s{}", protocol_.extended ? 29 : 11, protocol_.bitrate / 1000,
                       settings_.search ? ", found by asking" : "");
  out += !settings_.monitor  ? "; hears only answers to its own requests"
         : refused(kMonitor) ? "; refuses to monitor: hears only answers to its own requests"
                             : "; monitors between requests, whether it acknowledges then is not known";
  if (!isLine() && !ownFlow()) out += "; the adapter itself sends flow control";
  std::string no;
  for (const Step& s : steps_)
    if (refused(s.line))
      no += fmt::format("{}{}{}", no.empty() ? "" : ", ", s.line,
                        s.without.empty() ? "" : fmt::format(" ({})", s.without));
  if (!no.empty()) out += "; refused: " + no;
  return out;
}

void AtLink::started() {
  starting_ = false;
  if (search_ == Search::none) return setUp();
  search_ = Search::running;
  askCandidate();
}

// ---- search: our own request on one protocol after another, each by a permit of the gate. The adapter's own
// search would send what nobody permitted.

void AtLink::askCandidate() {
  candidate_answered_ = false;
  auto permit = context().search_permit(context().index, protocol_.extended);
  if (!permit) return searchFailed("the search was refused: " + permit.error().what, permit.error().advice);
  tell(fmt::format("searching: asking on {}", protocol_.name));
  queue_.push_back({permit->frame(), permit->purpose()});
  if (doing_ == Doing::prompt) advance();
}

/// The adapter has its prompt again.
void AtLink::candidateDone() {
  unproven_.clear();
  listen_until_ns_ = kNoTime;
  if (!candidate_answered_) return nextCandidate();
  search_ = Search::none;
  setUp();
}

void AtLink::nextCandidate() {
  if (++candidate_ == kSearchOrder.size()) {
    std::string asked;
    for (const std::size_t i : kSearchOrder)
      asked += fmt::format("{}{}", asked.empty() ? "" : ", ", kProtocols[i].name);
    return searchFailed(
        "the search found nobody: 01 00 was not answered on " + asked,
        "Is the ignition on? A module outside the legislated ones does not answer this: name the "
        "protocol, as in protocol=can11-500");
  }
  protocol_ = kProtocols[kSearchOrder[candidate_]];
  header_ = UINT32_MAX;
  filter_.clear();
  mask_.clear();
  refused_headers_.clear();
  const auto set = std::find_if(steps_.begin(), steps_.end(),
                                [](const Step& s) { return s.must && s.line.starts_with("ATSP"); });
  set->line = protocol_.command;
  step_ = static_cast<std::size_t>(set - steps_.begin());
  tries_ = 0;
  starting_ = true;
  startStep();
}

/// For good: done again only by a new run.
void AtLink::searchFailed(std::string text, std::string advice) {
  search_ = Search::over;
  search_text_ = std::move(text);
  search_advice_ = std::move(advice);
  unwatch();
  doing_ = Doing::nothing;
  trouble(event::LinkCondition::failed, search_text_, search_advice_, /*was_open=*/false);
}

void AtLink::setUp() {
  event::LinkState s = blank();
  s.description = describe();
  s.bitrate = protocol_.bitrate;
  s.fd = event::Known::no;
  s.listen_only = event::Known::no;
  s.time_origin = "user";
  s.time_error_ns = latency_ns_;
  s.own_frames = event::OwnFrames::answered;
  s.medium = protocol_.medium;
  s.session = session_;
  if (isLine()) {
    // An adapter shows a message when it begins or when it is whole.
    s.time_error_ns += lineTime_ns(protocol_.medium, kLineHeader + kLegislatedDataMax + 1);
    s.medium_explains = lineMediumExplains(protocol_.medium);
    s.medium_explains.insert(
        s.medium_explains.end(),
        {"sending: that a request was on the line is the adapter's word",
         "silence: that it sends nothing by itself is the adapter's word",
         "times: those of reading the serial port; the adapter's own pauses are in them"});
    if (isKLine())
      s.medium_explains.emplace_back(
          "initialisation: the adapter's; neither its times nor the key bytes are shown");
    up(bootNow(), std::move(s));
    if (doing_ == Doing::prompt) advance();
    return;
  }
  s.medium_explains = {"acknowledge: only an answer shows that a frame was acknowledged",
                       "error frames: a word of the adapter at most, without kind, place or number",
                       settings_.monitor && !refused(kMonitor)
                           ? "traffic: frames of others are not heard while it asks"
                           : "traffic: frames of others are not heard",
                       "controller: neither its state nor its counters",
                       "silence: whether it acknowledges is not known",
                       "times: those of reading the serial port"};
  up(bootNow(), std::move(s));
  if (doing_ == Doing::prompt) advance();
}

// ---- lines out

/// Only at a prompt, or as the first line of all.
void AtLink::writeControl(std::string text) {
  line_ = std::move(text);
  reply_ = {};
  doing_ = line_ == kMonitor ? Doing::monitor : Doing::control;
  parser_.expectEcho(line_);
  line_ns_ = bootNow();
  watch(line_ == kReset ? kResetWait : line_ == kMonitor ? kMonitorCheck : kControlWait);
  control(line_ + "\r");
}

void AtLink::writeFrame() {
  Outgoing out = std::move(queue_.front());
  queue_.pop_front();
  if (out.line) return writeMessage(std::move(out));
  ByteView data = out.frame.payload();
  if (!raw()) data = data.subspan(1, std::min<std::size_t>(data[0], data.size() - 1));
  line_ = upperHex(data);
  event::Sent sent;
  event::Batch::writeFrame(sent.frame, out.frame);
  sent.purpose = out.purpose;
  if (pciOf(out.frame) != kFlow && poll_end_ns_ != kNoTime) {
    sent.after_poll_ms = toMs(bootNow() - poll_end_ns_);
    poll_end_ns_ = kNoTime;
  }
  if (!raw()) sent.purpose += " (length byte and padding made by the adapter)";
  writeRequest(sent);
  if (pciOf(out.frame) != kFlow) {
    unproven_.clear();
    listen_until_ns_ = refused("ATSTFF") ? line_ns_ + kExchangeMost_ns : kNoTime;
  }
  unproven_.push_back({out.frame, line_ns_});
  watch(kListenWait);
}

/// line_, which a permit's bytes were made of.
void AtLink::writeRequest(const event::Sent& sent) {
  reply_ = {};
  doing_ = Doing::request;
  parser_.expectEcho(line_);
  context().host.emit(context().index, bootNow(), sent);
  const std::string text = " " + line_ + "\r";
  write({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
  busy_ns_ = line_ns_ = bootNow();
}

void AtLink::stop() {
  doing_ = Doing::stopping;
  watch(kStopWait);
  control(" ");
}

Status AtLink::send(Permit permit) {
  const auto refuse = [this](std::string what, std::string advice) {
    return Error{ErrorKind::link, std::move(what), state().uri, std::move(advice)};
  };
  if (!isUp() || starting_)
    return refuse(state().text.empty() ? "the adapter is not ready" : state().text, state().advice);
  if (permit.isLine() != isLine())
    return refuse(fmt::format("this is no message for {}", toText(protocol_.medium)), "");
  if (isLine()) return sendLine(std::move(permit));
  const CanFrame& f = permit.frame();
  if (f.fd()) return refuse("such adapters carry no CAN FD frames", "use a CAN interface for FD");
  if (f.extended() != protocol_.extended)
    return refuse(fmt::format("the adapter is set to {} bit identifiers", protocol_.extended ? 29 : 11),
                  fmt::format("open it with protocol={}",
                              std::find_if(kProtocols.begin(), kProtocols.end(), [&](const AtProtocol& p) {
                                return p.medium == Medium::can && p.extended == f.extended() &&
                                       p.bitrate == protocol_.bitrate;
                              })->name));
  if (refused_headers_.contains(atAddressing(f.word, {}).header))
    return refuse("the adapter refuses to send with this identifier", "use another adapter");
  if (pciOf(f) == kFlow && !ownFlow()) {
    if (!std::exchange(told_flow_, true)) tell("the adapter itself sends flow control");
    return {};
  }
  if (queue_.size() >= kQueueMost)
    return refuse("the adapter does not take frames as fast", "ask less often");
  queue_.push_back({f, permit.purpose()});
  if (pciOf(f) != kFlow) open_until_ns_ = bootNow() + kPendingMost_ns;
  advance();
  return {};
}

void AtLink::exchangeOver() {
  open_until_ns_ = listen_until_ns_ = kNoTime;
  if (doing_ == Doing::monitor && narrow_) stop();
  if (doing_ == Doing::prompt) advance();
}

// ---- what next

void AtLink::advance() {
  if (!takesFrames()) return;
  const bool wants = !queue_.empty();
  switch (doing_) {
    case Doing::nothing:
    case Doing::control:
    case Doing::stopping:
      return;
    case Doing::request:
      // A message that may still be on its way is not broken off.
      if (wants && !(isLine() && asked_)) stop();
      return;
    case Doing::monitor:
      if (wants) stop();
      return;
    case Doing::prompt:
      if (wants) return address();
      if (search_ == Search::running) return candidateDone();
      return listenOn();
  }
}

/// At a prompt with nothing to send: goes on listening where there is reason to.
void AtLink::listenOn() {
  for (Ns* until_ns : {&listen_until_ns_, &open_until_ns_})
    if (*until_ns != kNoTime && bootNow() >= *until_ns) *until_ns = kNoTime;
  const bool waits = listen_until_ns_ != kNoTime || open_until_ns_ != kNoTime;
  narrow_ = waits;
  if (!refused(kMonitor)) {
    if (waits) return writeControl(std::string(kMonitor));
    if (settings_.monitor && isLine()) return writeControl(std::string(kMonitor));
    if (settings_.monitor) {
      const std::string none = protocol_.extended ? "00000000" : "000";
      for (const auto& [line, is] : {std::pair("ATCF" + none, &filter_), std::pair("ATCM" + none, &mask_)})
        if (*is != line && !refused(line)) return writeControl(line);
      if (blind_from_ns_ != kNoTime)
        context().host.emit(context().index, bootNow(),
                            event::Gap{std::exchange(blind_from_ns_, kNoTime), bootNow(),
                                       "BUFFER FULL: the serial line is slower than the bus"});
      return writeControl(std::string(kMonitor));
    }
  }
  planVolts();
}

/// Sets what is not yet set for the frame that is next, line by line, then sends it.
void AtLink::address() {
  if (isKLine() && !session_ && !queue_.front().start) {
    tell("the session has ended meanwhile: nothing was sent");
    settings_out_.clear();
    queue_.pop_front();
    return advance();
  }
  if (settings_out_.empty() && queue_.front().line) {
    addressLine(queue_.front());
    if (settings_out_.empty()) return;
  }
  if (settings_out_.empty()) {
    const CanFrame& f = queue_.front().frame;
    const AtAddressing a = atAddressing(f.word, settings_.answer);
    if (header_ != f.word) settings_out_.push_back(a.header);
    if (filter_ != a.filter && !refused(a.filter)) settings_out_.push_back(a.filter);
    if (mask_ != a.mask && !refused(a.mask)) settings_out_.push_back(a.mask);
    if (settings_out_.empty()) return writeFrame();
  }
  writeControl(settings_out_.front());
}

void AtLink::addressDone(const std::string& line, const Reply& reply) {
  const bool ours = !settings_out_.empty() && settings_out_.front() == line;
  if (ours) settings_out_.pop_front();
  if (line.starts_with("ATCF") || line.starts_with("ATCM")) {
    (line.starts_with("ATCF") ? filter_ : mask_) = reply.ok ? line : "";
    if (!reply.ok) {
      refused_.insert(line);
      tell(fmt::format("the adapter refuses {}: its own choice of answers holds", line));
    }
    return;
  }
  if (!ours || queue_.empty()) return;
  if (queue_.front().line) {
    // Refused, the legislated one is set all the same.
    if (reply.ok || line == fmt::format("ATIIA{:02X}", kLegislated)) {
      if (line == protocol_.command) fresh_ = true, line_header_.clear(), line_address_.clear();
      if (line.starts_with("ATSH")) line_header_ = line;
      if (line.starts_with("ATIIA")) line_address_ = line;
      return;
    }
    if (line != protocol_.command) refused_headers_.insert(line);
    tell(fmt::format("the adapter refuses {}: nothing was sent", line));
    settings_out_.clear();
    const Outgoing out = std::move(queue_.front());
    queue_.pop_front();
    return dropUnsent(out);
  }
  const std::uint32_t word = queue_.front().frame.word;
  const AtAddressing a = atAddressing(word, settings_.answer);
  const bool last = line == a.header || line == a.header_rest;
  if (reply.ok) {
    if (last) header_ = word;
    return;
  }
  if (line == a.header && !a.priority.empty() && a.header_rest != a.header) {
    settings_out_.push_front(a.header_rest);
    settings_out_.push_front(a.priority);
    return;
  }
  refused_headers_.insert(a.header);
  tell(fmt::format("the adapter refuses {}: nothing was sent", line));
  header_ = UINT32_MAX;
  settings_out_.clear();
  queue_.pop_front();
}

void AtLink::planVolts() {
  if (refused(kVolts)) return;
  const Ns now_ns = bootNow();
  Ns due_ns = std::max(polled_ns_ == kNoTime ? now_ns : polled_ns_ + kVoltsEvery_ns,
                       busy_ns_ == kNoTime ? now_ns : busy_ns_ + kExchangeMost_ns);
  if (open_until_ns_ != kNoTime) due_ns = std::max(due_ns, open_until_ns_);
  due_ns = std::max(due_ns, now_ns);
  poll_.expires_after(std::chrono::nanoseconds(due_ns - now_ns));
  poll_.async_wait([this, alive = token()](const boost::system::error_code& ec) {
    if (ec || alive.expired() || doing_ != Doing::prompt || starting_ || !queue_.empty()) return;
    writeControl(std::string(kVolts));
  });
}

void AtLink::voltsDone(const Reply& reply) {
  polled_ns_ = line_ns_;
  poll_end_ns_ = line_ns_ + reply.took_ns;
  if (reply.volts_V < 0) return;
  event::Measurement m;
  m.point = "V(pin16,pin4)";
  m.value = reply.volts_V;
  m.unit = "V";
  m.uncertainty = kVoltsShare * reply.volts_V + kVoltsHalfDigit_V;
  m.instrument = "adapter's own reading";
  m.aperture_ns = reply.took_ns;
  m.time_error_ns = (reply.took_ns + 1) / 2;
  context().host.onRecord(context().index, line_ns_ + reply.took_ns / 2, event::Kind::sample, pack(m));
}

// ---- lines in

void AtLink::onBytes(Ns t_boot_ns, ByteView bytes) {
  bytes_in_ += bytes.size();
  const std::weak_ptr<bool> alive = token();
  for (const AtItem& item : parser_.take(t_boot_ns, bytes)) {
    if (doing_ != Doing::nothing) onItem(item);
    if (alive.expired() || !line().isOpen()) return;  // closed by what the host was told
  }
}

void AtLink::onItem(const AtItem& item) {
  switch (item.what) {
    case AtItem::What::echo:
      return;
    case AtItem::What::prompt:
      return onPrompt(item.t_ns);
    case AtItem::What::word:
      return onWord(item);
    case AtItem::What::frame:
      return onFrame(item);
    case AtItem::What::line:
      return onMessage(item);
    case AtItem::What::voltage:
      reply_.volts_V = item.volts_V;
      return;
    case AtItem::What::text:
      if (isLine() && !starting_ && (doing_ == Doing::request || doing_ == Doing::monitor)) onDamage(item);
      reply_.text = item.text;
      return;
  }
}

void AtLink::onWord(const AtItem& item) {
  const std::string says = fmt::format("the adapter says {}", toText(item.word));
  switch (item.word) {
    case AtWord::ok:
      reply_.ok = true;
      return;
    case AtWord::refused:
      reply_.refused = true;
      return;
    case AtWord::init_ok:
    case AtWord::init_error:
      return onInitWord(item);
    case AtWord::stopped:
    case AtWord::no_data:
      return;
    case AtWord::low_voltage_reset:
      if (starting_ && step_ == 0) return;
      return restart("the adapter restarted because its supply was too low (LV RESET)",
                     "look at V(pin16,pin4) under load, and at the connector's fuse and contacts");
    case AtWord::searching:
      return restart("the adapter searches for a protocol, which sends on every bus",
                     "use an adapter that takes a fixed protocol");
    case AtWord::buffer_full:
      if (doing_ == Doing::monitor && settings_.monitor && listen_until_ns_ == kNoTime)
        blind_from_ns_ = heard_ns_ == kNoTime ? line_ns_ : heard_ns_;
      else
        context().host.emit(context().index, item.t_ns,
                            event::Gap{heard_ns_ == kNoTime ? line_ns_ : heard_ns_, item.t_ns,
                                       "BUFFER FULL: the adapter stopped listening"});
      return;
    case AtWord::can_error:
    case AtWord::bus_error:
    case AtWord::rx_error:
      if (asked_ && item.word != AtWord::rx_error) asked_->failed = says;
      errorFrame(item.t_ns, CAN_ERR_PROT | CAN_ERR_BUSERROR);
      return tell(says);
    case AtWord::feedback_error:
      if (asked_) asked_->failed = says;
      errorFrame(item.t_ns, CAN_ERR_TRX);
      return tell(says);
    case AtWord::bus_busy:
    case AtWord::unable_to_connect:
      if (asked_) asked_->failed = says;
      return tell(says);
    case AtWord::data_error:
    case AtWord::activity_alert:
    case AtWord::low_power_alert:
    case AtWord::internal_error:
      return tell(says);
  }
}

void AtLink::errorFrame(Ns t_ns, std::uint32_t classes) {
  // Nothing of ours was on the bus; of a search at a wrong rate they are expected, and noted.
  if (starting_ || search_ == Search::running || isLine()) return;
  CanFrame f;
  f.word = event::kErrorFlag | classes;
  f.length = CAN_ERR_DLC;
  context().host.onFrame(context().index, t_ns, f, /*outbound=*/false);
}

void AtLink::onFrame(const AtItem& item) {
  // While settings are made, digits are an answer to them, not traffic.
  if (starting_ || doing_ == Doing::control || doing_ == Doing::prompt) {
    reply_.text = item.text;
    return;
  }
  seen(item.t_ns);
  heard_ns_ = item.t_ns;
  if (doing_ == Doing::request) watch(kListenWait);
  if (doing_ == Doing::monitor && settings_.monitor) watch(kMonitorCheck);
  if (item.damaged) return errorFrame(item.t_ns, CAN_ERR_PROT | CAN_ERR_BUSERROR);
  const std::weak_ptr<bool> alive = token();
  bool ours = false;
  for (auto u = unproven_.begin(); u != unproven_.end(); ++u) {
    if (item.frame.remote() || !answers(u->frame, item.frame)) continue;
    const Unproven proven = *u;
    unproven_.erase(u);
    busy_ns_ = item.t_ns;
    ours = candidate_answered_ = true;
    context().host.onFrame(context().index, proven.written_ns, proven.frame, /*outbound=*/true);
    break;
  }
  if (alive.expired()) return;
  if (pciOf(item.frame) == kConsecutive) busy_ns_ = item.t_ns;
  if (isPending(item.frame) && (ours || listen_until_ns_ != kNoTime))
    listen_until_ns_ = item.t_ns + kPendingMost_ns;
  if (listen_until_ns_ != kNoTime && open_until_ns_ != kNoTime)
    open_until_ns_ = std::max(open_until_ns_, listen_until_ns_);
  context().host.onFrame(context().index, item.t_ns, item.frame, /*outbound=*/false);
}

void AtLink::onPrompt(Ns t_ns) {
  if (isUp()) seen(t_ns);
  const bool was_request = doing_ == Doing::request;
  switch (doing_) {
    case Doing::nothing:
      return;
    case Doing::prompt:
      return restart("the adapter restarted by itself", "look at its supply and its plug");
    case Doing::control:
      reply_.took_ns = t_ns - line_ns_;
      return controlDone();
    case Doing::monitor:
      if (reply_.refused && refused_.emplace(kMonitor).second) {
        event::LinkState s = state();
        s.description = describe();
        become(std::move(s));
      }
      break;
    case Doing::request:
      if (reply_.refused) tell("the adapter did not understand the request: nothing was sent");
      if (reply_.refused && asked_) asked_->failed = "the adapter did not understand it";
      break;
    case Doing::stopping:
      break;
  }
  unwatch();
  doing_ = Doing::prompt;
  if (was_request) askedOver();
  if (doing_ == Doing::prompt) advance();  // who was told may have sent the next one
}

void AtLink::controlDone() {
  unwatch();
  doing_ = Doing::prompt;
  const Reply reply = std::exchange(reply_, {});
  if (starting_) return stepDone(reply);
  const std::string line = line_;
  if (line == kVolts)
    voltsDone(reply);
  else
    addressDone(line, reply);
  if (doing_ == Doing::prompt) advance();
}

// ---- time

void AtLink::watch(milliseconds wait) {
  watch_.expires_after(wait);
  watch_.async_wait([this, serial = ++watch_serial_, alive = token()](const boost::system::error_code& ec) {
    if (!ec && !alive.expired() && serial == watch_serial_) overdue();
  });
}

void AtLink::unwatch() {
  ++watch_serial_;  // it may have fired already
  watch_.cancel();
}

void AtLink::overdue() {
  if (doing_ == Doing::monitor) return stop();
  if (doing_ == Doing::nothing) return startStep();
  if (starting_ && step_ == 0) {
    const std::string port = line().path();
    if (bytes_in_ == 0)
      return restart(fmt::format("nothing answers on {} at {} bit/s", port, baud_),
                     "is the adapter fed (its lamp)? Is this its port, and its rate (?baud=115200)?");
    return restart(fmt::format("what is on {} does not speak AT commands at {} bit/s", port, baud_),
                   "name the adapter's own port and rate; `pin16 links` lists the ports");
  }
  restart(
      starting_ ? fmt::format("the adapter gave no prompt after {}", line_) : "the adapter no longer answers",
      "look at its supply; unplug it and plug it in again");
}

void AtLink::restart(std::string text, std::string advice) {
  reopenLater(isUp() ? event::LinkCondition::gone : event::LinkCondition::failed, std::move(text),
              std::move(advice));
}

void AtLink::onLost() {
  if (search_ == Search::running) {
    search_ = Search::over;
    search_text_ = "the adapter was lost while it searched";
    search_advice_ = "start anew, or name the protocol, as in protocol=can11-500";
  }
  unwatch();
  poll_.cancel();
  doing_ = Doing::nothing;
  starting_ = false;
  queue_.clear();
  settings_out_.clear();
  unproven_.clear();
  listen_until_ns_ = open_until_ns_ = busy_ns_ = heard_ns_ = blind_from_ns_ = polled_ns_ = poll_end_ns_ =
      kNoTime;
  refused_headers_.clear();
  asked_.reset();
  session_ = false;
  on_line_ns_ = kNoTime;
  session_timer_.cancel();
}

// ---- line media

Status AtLink::sendLine(Permit permit) {
  const auto refuse = [this](std::string what, std::string advice) {
    return Error{ErrorKind::link, std::move(what), state().uri, std::move(advice)};
  };
  const event::Line& line = permit.line();
  if (line.medium != protocol_.medium)
    return refuse(fmt::format("this is no message for {}", toText(protocol_.medium)), "");
  if (isKLine() && !session_ && !permit.start())
    return refuse("the session has ended meanwhile", "ask again");
  if (refused_headers_.contains(atLineHeader(line)))
    return refuse("the adapter refuses to send with this header", "use another adapter");
  if (queue_.size() >= kQueueMost)
    return refuse("the adapter does not take messages as fast", "ask less often");
  queue_.push_back({{}, permit.purpose(), line, permit.start()});
  if (!isKLine() || permit.start()) open_until_ns_ = bootNow() + kPendingMost_ns;
  advance();
  return {};
}

/// Sets what is not yet set for this message; or sends it; or waits for P3.
void AtLink::addressLine(const Outgoing& out) {
  const bool init = isKLine() && !session_;
  // Setting the protocol anew closes what the adapter may still take for a session.
  if (init && !fresh_) settings_out_.emplace_back(protocol_.command);
  if (init && fiveBaud()) {
    const std::string address = fmt::format("ATIIA{:02X}", out.start->address);
    if (line_address_ != address || !fresh_) settings_out_.push_back(address);
  }
  if (const std::string header = atLineHeader(*out.line); line_header_ != header || (init && !fresh_))
    settings_out_.push_back(header);
  if (!settings_out_.empty()) return;
  const Ns now_ns = bootNow();
  if (isKLine() && on_line_ns_ != kNoTime && now_ns < on_line_ns_ + p3_min_ns_ + kP3Room_ns) {
    poll_.expires_after(std::chrono::nanoseconds(on_line_ns_ + p3_min_ns_ + kP3Room_ns - now_ns));
    poll_.async_wait([this, alive = token()](const boost::system::error_code& ec) {
      if (!ec && !alive.expired() && doing_ == Doing::prompt) advance();
    });
    return;
  }
  writeFrame();
}

void AtLink::writeMessage(Outgoing out) {
  const bool init = isKLine() && !session_;
  line_ = upperHex(out.line->data);
  event::Sent sent;
  if (init && fiveBaud())
    context().host.emit(
        context().index, bootNow(),
        event::Sent{{out.start->address}, "initialisation: address at 5 baud, by the adapter"});
  else if (init)
    context().host.emit(context().index, bootNow(),
                        event::Sent{lineBytes(out.start->start_communication),
                                    "initialisation: wake-up pattern, StartCommunication, by the adapter"});
  sent.frame = lineBytes(*out.line);
  sent.purpose = out.purpose;
  if (poll_end_ns_ != kNoTime) sent.after_poll_ms = toMs(bootNow() - poll_end_ns_);
  poll_end_ns_ = kNoTime;
  fresh_ = false;
  writeRequest(sent);
  asked_ = Asked{*out.line, !isKLine() || out.start, init, line_ns_};
  on_line_ns_ = line_ns_;
  listen_until_ns_ = refused("ATSTFF") ? line_ns_ + kExchangeMost_ns : kNoTime;
  watch(init ? kInitWait : kListenWait);
}

void AtLink::onMessage(const AtItem& item) {
  if (starting_ || doing_ == Doing::control || doing_ == Doing::prompt) {
    reply_.text = item.text;
    return;
  }
  seen(item.t_ns);
  heard_ns_ = on_line_ns_ = item.t_ns;
  if (doing_ == Doing::request) watch(kListenWait);
  if (doing_ == Doing::monitor && settings_.monitor) watch(kMonitorCheck);
  if (item.damaged) return onDamage(item);
  event::Line message = item.message;
  message.first_ns = item.t_ns - lineTime_ns(message.medium, message.header.size() + message.data.size() + 1);
  const std::weak_ptr<bool> alive = token();
  const bool ours = asked_ && answers(asked_->line, message);
  if (ours) {
    busy_ns_ = item.t_ns;
    if (isKLine() && !session_) setSession(true);
    showAsked(message.first_ns);
  }
  if (alive.expired() || !line().isOpen()) return;
  if (isPending(message) && (ours || listen_until_ns_ != kNoTime))
    listen_until_ns_ = item.t_ns + kPendingMost_ns;
  if (listen_until_ns_ != kNoTime && open_until_ns_ != kNoTime)
    open_until_ns_ = std::max(open_until_ns_, listen_until_ns_);
  context().host.emit(context().index, item.t_ns, message);
  if (!alive.expired() && line().isOpen() && ours && doing_ == Doing::request) advance();
}

void AtLink::onInitWord(const AtItem& item) {
  const bool ok = item.word == AtWord::init_ok;
  on_line_ns_ = item.end_ns;
  if (asked_ && ok) {
    tell(asked_->with_init ? fmt::format("the adapter initialised the line within {:.0f} ms",
                                         toMs(item.end_ns - asked_->sent_ns))
                           : "the adapter initialised the line anew: it took the session for ended");
    asked_->sent_ns = item.end_ns;
    watch(kListenWait);
  } else {
    tell(fmt::format("the adapter says {}", toText(item.word)));
    if (asked_) asked_->failed = "the line was not initialised";
  }
  setSession(ok);
}

/// A line that is no whole message: told once a second at most.
void AtLink::onDamage(const AtItem& item) {
  ++damaged_;
  if (damage_told_ns_ != kNoTime && item.t_ns < damage_told_ns_ + kNsPerSecond) return;
  damage_told_ns_ = item.t_ns;
  std::string says = damaged_ == 1 ? "a line that makes no message"
                                   : fmt::format("{} lines that make no message, the last one", damaged_);
  if (!context().host.blanksContent()) says += fmt::format(" \"{}\"", item.text.substr(0, kSaysMost));
  tell(says);
  damaged_ = 0;
}

/// Our message was on the line: its earliest end, by the bytes' times and P4 min, or `before_ns`.
void AtLink::showAsked(Ns before_ns) {
  event::Line ours = asked_->line;
  const std::size_t bytes = ours.header.size() + ours.data.size() + 1;
  Ns end_ns = asked_->sent_ns + lineTime_ns(ours.medium, bytes);
  if (isKLine()) end_ns += static_cast<Ns>(bytes - 1) * p4_min_ns_;
  if (before_ns != kNoTime) end_ns = std::min(end_ns, before_ns);
  ours.first_ns = std::min(asked_->sent_ns, end_ns);
  ours.ours = true;
  const bool stop = isKLine() && ours.data[0] == kStopCommunication;
  asked_.reset();
  context().host.emit(context().index, end_ns, ours);
  if (stop) setSession(false);
}

/// The adapter has its prompt again: NO DATA, or nothing at all, says that it did send.
void AtLink::askedOver() {
  if (!asked_) return;
  if (asked_->failed.empty()) return showAsked(kNoTime);
  const bool request = asked_->request;
  asked_.reset();
  listen_until_ns_ = kNoTime;
  if (request) context().host.onUnsent(context().index, bootNow());
}

void AtLink::dropUnsent(const Outgoing& out) {
  if (!isKLine() || out.start) context().host.onUnsent(context().index, bootNow());
}

void AtLink::setSession(bool open) {
  if (!isKLine()) return;
  session_ = open;
  if (open) watchSession();
  if (!isUp() || state().session == open) return;
  event::LinkState s = state();
  s.session = open;
  become(std::move(s));
}

/// It ends when the line was quiet for P3 max.
void AtLink::watchSession() {
  session_timer_.expires_after(
      std::chrono::nanoseconds(std::max<Ns>(0, on_line_ns_ + p3_max_ns_ - bootNow())));
  session_timer_.async_wait([this, alive = token()](const boost::system::error_code& ec) {
    if (ec || alive.expired() || !session_) return;
    if (bootNow() < on_line_ns_ + p3_max_ns_) return watchSession();
    tell("the session has ended: nothing on the line for P3 max");
    setSession(false);
  });
}

void AtLink::onClosing() {
  if (doing_ == Doing::request || doing_ == Doing::monitor) control(" ");
  unwatch();
  poll_.cancel();
  session_timer_.cancel();
}

// ---- making one

Result<Settings> settingsFrom(const Uri& uri, bool may_search) {
  const auto usage = [&](std::string what, std::string advice) {
    return Error{ErrorKind::usage, std::move(what), uri.text, std::move(advice)};
  };
  if (const Status known = allowOptions(uri, {"protocol", "baud", "answer", "monitor", "named"}); !known)
    return known.error();
  std::string names;
  for (const AtProtocol& p : kProtocols) names += fmt::format("{}{}", names.empty() ? "" : ", ", p.name);
  Settings s;
  const std::string protocol = uri.option("protocol");
  if (protocol.empty()) return usage("the protocol is not named", "write protocol=NAME, one of " + names);
  if (protocol == "search" && may_search) {
    s.search = true;
    s.protocol = kProtocols[kSearchOrder[0]];
  } else if (protocol == "search" || protocol == "auto") {
    return usage(
        "a search sends requests on several buses at several rates, so it needs its own word",
        "name the protocol: one of " + names + "; or say --search to query, rollcall or check --ask");
  }
  const auto found = std::find_if(kProtocols.begin(), kProtocols.end(),
                                  [&](const AtProtocol& p) { return p.name == protocol; });
  if (found == kProtocols.end() && !s.search)
    return usage(fmt::format("protocol={} is none", protocol), "write one of " + names);
  if (!s.search) s.protocol = *found;
  if (const std::string answer = uri.option("answer"); !answer.empty() && s.protocol.medium != Medium::can) {
    return usage(fmt::format("answer={} means nothing on {}", answer, toText(s.protocol.medium)),
                 "leave it out: every answer is heard");
  } else if (!answer.empty()) {
    const auto id = toUnsigned(answer, 16);
    if (!id || *id > (s.protocol.extended || s.search ? event::kExtendedMask : event::kStandardMask))
      return usage(
          fmt::format("answer={} is no identifier of {} bits", answer, s.protocol.extended ? 29 : 11),
          "write it in hex, as in answer=7A9");
    s.answer = static_cast<std::uint32_t>(*id);
  }
  if (const std::string monitor = uri.option("monitor"); monitor == "on")
    s.monitor = true;
  else if (!monitor.empty() && monitor != "off")
    return usage(fmt::format("monitor={} is neither on nor off", monitor), "leave it out for off");
  if (const std::string named = uri.option("named"); named == "job")
    s.named = false;
  else if (!named.empty())
    return usage(fmt::format("named={} means nothing", named), "leave it out");
  return s;
}

std::string missingOptions(const Uri& uri, const Hints& hints) {
  std::string out;
  const auto add = [&](const std::string& option) { out += (out.empty() ? "" : "&") + option; };
  std::string protocol = uri.option("protocol");
  if (protocol.empty() && !hints.protocol.empty()) {
    protocol = hints.protocol;
  } else if (protocol.empty() && hints.bitrate) {
    for (const AtProtocol& p : kProtocols)
      if (p.medium == Medium::can && p.bitrate == *hints.bitrate && p.extended == hints.extended)
        protocol = p.name;
  }
  if (uri.option("protocol").empty() && !protocol.empty())
    add(fmt::format("protocol={}&named=job", protocol));
  const bool line = std::any_of(kProtocols.begin(), kProtocols.end(), [&](const AtProtocol& p) {
    return p.name == protocol && p.medium != Medium::can;
  });
  if (!line && uri.option("answer").empty() && hints.answer_id)
    add(fmt::format("answer={:X}", *hints.answer_id));
  return out;
}

}  // namespace

std::span<const AtProtocol> atProtocols() { return kProtocols; }
std::vector<AtProtocol> atSearchOrder() {
  std::vector<AtProtocol> out;
  for (const std::size_t i : kSearchOrder) out.push_back(kProtocols[i]);
  return out;
}
std::span<const std::string_view> atControls() { return kControls; }

std::string atLineHeader(const event::Line& line) {
  Bytes header = line.header;
  if (line.medium == Medium::iso14230_4) header[0] &= 0xC0U;  // the adapter adds the length
  return "ATSH" + upperHex(header);
}

AtAddressing atAddressing(std::uint32_t word, std::optional<std::uint32_t> answer) {
  const std::uint32_t id = word & event::kExtendedMask;
  AtAddressing a;
  const auto hear = [&](const char* form, std::uint32_t filter, std::uint32_t mask) {
    a.filter = "ATCF" + fmt::format(fmt::runtime(form), filter);
    a.mask = "ATCM" + fmt::format(fmt::runtime(form), mask);
  };
  if ((word & event::kExtendedFlag) != 0) {
    a.header = fmt::format("ATSH{:08X}", id);
    a.priority = fmt::format("ATCP{:02X}", id >> 24U);
    a.header_rest = fmt::format("ATSH{:06X}", id & 0xFFFFFFU);
    // ISO 15765-4: requests 18DB33F1 and 18DAxxF1, answers 18DAF1xx.
    const bool legislated = id == 0x18DB33F1U || (id & 0xFFFF00FFU) == 0x18DA00F1U;
    if (legislated)
      hear("{:08X}", 0x18DAF100U, 0x1FFFFF00U);
    else if (answer)
      hear("{:08X}", *answer, event::kExtendedMask);
    else
      hear("{:08X}", 0, 0);
    return a;
  }
  a.header = fmt::format("ATSH{:03X}", id);
  // ISO 15765-4: answers 7E8 to 7EF.
  if (isLegislated11(id))
    hear("{:03X}", 0x7E8U, 0x7F8U);
  else if (answer)
    hear("{:03X}", *answer, event::kStandardMask);
  else
    hear("{:03X}", 0, 0);
  return a;
}

Scheme atScheme() {
  return {"at",
          "at:PORT?protocol=can11-500|can29-500|can11-250|can29-250|pwm-41600|vpw-10400|iso9141-2|kwp-5baud|"
          "kwp-fast[&baud=38400][&answer=ID][&monitor=on]  a serial adapter with AT commands",
          [](const Uri& uri, const Context& context) -> Result<std::unique_ptr<Link>> {
            const auto settings = settingsFrom(uri, static_cast<bool>(context.search_permit));
            if (!settings) return settings.error();
            const auto baud = rateOption(uri, "baud", kDefaultBaud);
            if (!baud) return baud.error();
            return std::unique_ptr<Link>(std::make_unique<AtLink>(uri, *baud, *settings, context));
          },
          /*meter=*/false,
          missingOptions,
          "protocol=search"};
}

}  // namespace pin16::link
