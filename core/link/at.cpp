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

#include "core/link/at_parser.hpp"
#include "core/link/serial_link.hpp"

namespace pin16::link {
namespace {

namespace asio = boost::asio;
using event::CanFrame;
using std::chrono::milliseconds;

// ---- common practice, no source: protocol numbers and commands
constexpr std::array<AtProtocol, 4> kProtocols = {{
    {"can11-500", "ATSP6", "6", 500'000, false},
    {"can29-500", "ATSP7", "7", 500'000, true},
    {"can11-250", "ATSP8", "8", 250'000, false},
    {"can29-250", "ATSP9", "9", 250'000, true},
}};
/// The rest of the legislated list.
constexpr std::array<std::string_view, 5> kNotYet = {"pwm-41600", "vpw-10400", "iso9141-2", "kwp-5baud",
                                                     "kwp-fast"};
constexpr std::array<std::string_view, 24> kControls = {
    "ATZ",    "ATE0",  "ATL0",  "ATS0",   "ATH1",    "ATI",     "ATM0",         "ATAT0",
    "ATSTFF", "ATSP6", "ATSP7", "ATSP8",  "ATSP9",   "ATDPN",   "ATCAF0",       "ATCFC0",
    "ATBI",   "ATRV",  "ATMA",  "ATCSM1", "ATCF000", "ATCM000", "ATCF00000000", "ATCM00000000"};
constexpr std::string_view kReset = "ATZ", kIdentify = "ATI", kTellProtocol = "ATDPN", kVolts = "ATRV",
                           kMonitor = "ATMA", kOwnFlowOff = "ATCFC0";

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
constexpr milliseconds kListenWait{2500};    // the longest time-out that can be set is 255 * 4 ms
constexpr milliseconds kMonitorCheck{5000};  // after so long without a frame it is asked whether it is there
constexpr std::size_t kQueueMost = 4;
constexpr Ns kVoltsEvery_ns = kNsPerSecond;
constexpr Ns kExchangeMost_ns = 1100 * kNsPerMs;  // timing.client_wait_ms and the serial line
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
        poll_(context.io) {}

  Status send(Permit permit) override;
  void exchangeOver() override;
  [[nodiscard]] bool rateNamed() const override { return settings_.named && !settings_.monitor; }

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
  void tell(const std::string& text) {
    context().host.emit(context().index, bootNow(), event::Note{text, "adapter"});
  }
  void errorFrame(Ns t_ns, std::uint32_t classes);
  // time
  void watch(milliseconds wait);
  void unwatch();
  void overdue();
  void restart(std::string text, std::string advice);

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
  std::deque<std::string> settings_out_;  ///< header and filter lines for queue_.front()
  std::uint32_t header_ = UINT32_MAX;     ///< word that is set
  std::string filter_, mask_;             ///< lines that are set
  std::set<std::uint32_t> refused_headers_;
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
  steps_.insert(steps_.end(), kDialogueEnd.begin(), kDialogueEnd.end());
  if (!settings_.monitor) std::erase_if(steps_, [](const Step& s) { return s.line == "ATCSM1"; });
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
                     step.line == "ATH1"
                         ? "without headers nobody can tell who answers: use another adapter"
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
  out += fmt::format("; CAN {} bit, {} kbit/s{}", protocol_.extended ? 29 : 11, protocol_.bitrate / 1000,
                     settings_.search ? ", found by asking" : "");
  out += !settings_.monitor  ? "; hears only answers to its own requests"
         : refused(kMonitor) ? "; refuses to monitor: hears only answers to its own requests"
                             : "; monitors between requests, whether it acknowledges then is not known";
  if (!ownFlow()) out += "; the adapter itself sends flow control";
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
  const Outgoing out = std::move(queue_.front());
  queue_.pop_front();
  ByteView data = out.frame.payload();
  if (!raw()) data = data.subspan(1, std::min<std::size_t>(data[0], data.size() - 1));
  line_ = toHex(data);
  std::transform(line_.begin(), line_.end(), line_.begin(),
                 [](char c) { return c >= 'a' ? static_cast<char>(c - 'a' + 'A') : c; });
  reply_ = {};
  doing_ = Doing::request;
  parser_.expectEcho(line_);
  event::Sent sent;
  event::Batch::writeFrame(sent.frame, out.frame);
  sent.purpose = out.purpose;
  if (pciOf(out.frame) != kFlow && poll_end_ns_ != kNoTime) {
    sent.after_poll_ms = toMs(bootNow() - poll_end_ns_);
    poll_end_ns_ = kNoTime;
  }
  if (!raw()) sent.purpose += " (length byte and padding made by the adapter)";
  context().host.emit(context().index, bootNow(), sent);
  const std::string text = " " + line_ + "\r";
  write({reinterpret_cast<const std::uint8_t*>(text.data()), text.size()});
  busy_ns_ = line_ns_ = bootNow();
  if (pciOf(out.frame) != kFlow) {
    unproven_.clear();
    listen_until_ns_ = refused("ATSTFF") ? line_ns_ + kExchangeMost_ns : kNoTime;
  }
  unproven_.push_back({out.frame, line_ns_});
  watch(kListenWait);
}

void AtLink::stop() {
  doing_ = Doing::stopping;
  watch(kStopWait);
  control(" ");
}

Status AtLink::send(Permit permit) {
  const CanFrame& f = permit.frame();
  const auto refuse = [this](std::string what, std::string advice) {
    return Error{ErrorKind::link, std::move(what), state().uri, std::move(advice)};
  };
  if (!isUp() || starting_)
    return refuse(state().text.empty() ? "the adapter is not ready" : state().text, state().advice);
  if (f.fd()) return refuse("such adapters carry no CAN FD frames", "use a CAN interface for FD");
  if (f.extended() != protocol_.extended)
    return refuse(fmt::format("the adapter is set to {} bit identifiers", protocol_.extended ? 29 : 11),
                  fmt::format("open it with protocol={}",
                              std::find_if(kProtocols.begin(), kProtocols.end(), [&](const AtProtocol& p) {
                                return p.extended == f.extended() && p.bitrate == protocol_.bitrate;
                              })->name));
  if (refused_headers_.contains(f.word))
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
  refused_headers_.insert(word);
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
    case AtItem::What::voltage:
      reply_.volts_V = item.volts_V;
      return;
    case AtItem::What::text:
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
      errorFrame(item.t_ns, CAN_ERR_PROT | CAN_ERR_BUSERROR);
      return tell(says);
    case AtWord::feedback_error:
      errorFrame(item.t_ns, CAN_ERR_TRX);
      return tell(says);
    case AtWord::bus_busy:
    case AtWord::unable_to_connect:
    case AtWord::data_error:
    case AtWord::activity_alert:
    case AtWord::low_power_alert:
    case AtWord::internal_error:
      return tell(says);
  }
}

void AtLink::errorFrame(Ns t_ns, std::uint32_t classes) {
  // Nothing of ours was on the bus; of a search at a wrong rate they are expected, and noted.
  if (starting_ || search_ == Search::running) return;
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
      break;
    case Doing::stopping:
      break;
  }
  unwatch();
  doing_ = Doing::prompt;
  advance();
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
}

void AtLink::onClosing() {
  if (doing_ == Doing::request || doing_ == Doing::monitor) control(" ");
  unwatch();
  poll_.cancel();
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
  if (std::find(kNotYet.begin(), kNotYet.end(), protocol) != kNotYet.end())
    return usage(fmt::format("protocol={} is not CAN: not yet", protocol), "CAN protocols: " + names);
  const auto found = std::find_if(kProtocols.begin(), kProtocols.end(),
                                  [&](const AtProtocol& p) { return p.name == protocol; });
  if (found == kProtocols.end() && !s.search)
    return usage(fmt::format("protocol={} is none", protocol), "write one of " + names);
  if (!s.search) s.protocol = *found;
  if (const std::string answer = uri.option("answer"); !answer.empty()) {
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
  if (uri.option("protocol").empty() && hints.bitrate)
    for (const AtProtocol& p : kProtocols)
      if (p.bitrate == *hints.bitrate && p.extended == hints.extended)
        add(fmt::format("protocol={}&named=job", p.name));
  if (uri.option("answer").empty() && hints.answer_id) add(fmt::format("answer={:X}", *hints.answer_id));
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
          "at:PORT?protocol=can11-500|can29-500|can11-250|can29-250[&baud=38400][&answer=ID][&monitor=on]  a "
          "serial adapter with AT commands",
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
