// SPDX-License-Identifier: Apache-2.0
#include "core/recorder/recorder.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <spdlog/spdlog.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/statvfs.h>
#include <sys/utsname.h>
#include <unistd.h>

#include <algorithm>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/buffer.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/local/stream_protocol.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>
#include <boost/asio/write.hpp>
#include <csignal>
#include <deque>
#include <list>

#include "core/base/log.hpp"
#include "core/can/wire_bits.hpp"
#include "core/capture/hash.hpp"
#include "core/link/link.hpp"
#include "core/protocol/asker.hpp"
#include "core/protocol/envelope.hpp"
#include "core/protocol/gate.hpp"
#include "core/recorder/attempt_mark.hpp"
#include "core/recorder/inhibit.hpp"
#include "core/recorder/journal.hpp"

namespace pin16::recorder {
namespace {

namespace asio = boost::asio;
using Socket = asio::local::stream_protocol::socket;
using std::chrono::nanoseconds;

constexpr Ns kHousekeeping_ns = kNsPerSecond;
/// How long a started recorder waits for its owner.
constexpr Ns kOwnerWait_ns = 10 * kNsPerSecond;
/// How long a finished recorder waits for its clients to take their last messages.
constexpr Ns kLinger_ns = 5 * kNsPerSecond;
/// A moved UTC offset becomes an event from here on.
constexpr Ns kClockStep_ns = kNsPerMs;

class Recorder;

/// One attached client. Owned by the recorder's list and by its own pending operations; io thread only.
class Connection : public std::enable_shared_from_this<Connection> {
 public:
  Connection(Recorder& recorder, Socket socket) : recorder_(recorder), socket_(std::move(socket)) {}
  void start();
  /// Queues a message. A batch that finds the queue full is left out; the count is told when there is room.
  void send(std::shared_ptr<const Bytes> message, bool is_batch);
  void reply(const Reply& r) {
    send(std::make_shared<const Bytes>(encode(MessageType::reply, pack(r))), false);
  }
  /// No more from this client; what is queued still goes out.
  void stopReading() {
    boost::system::error_code ignored;
    socket_.shutdown(Socket::shutdown_receive, ignored);  // NOLINT(bugprone-unused-return-value)
  }
  [[nodiscard]] const std::string& name() const { return name_; }
  void setName(std::string name) { name_ = std::move(name); }
  bool greeted = false;
  bool said_goodbye = false;

 private:
  asio::awaitable<void> readCommands();
  void writeNext();

  Recorder& recorder_;
  Socket socket_;
  std::string name_ = "a client";
  std::deque<std::shared_ptr<const Bytes>> out_;
  std::size_t out_bytes_ = 0;
  std::uint64_t left_out_ = 0;
};

class Recorder final : public link::Host {
 public:
  Recorder(const Config& config, int ready_fd);
  int run();

  // link::Host
  void onFrame(std::uint16_t link, Ns t_boot_ns, const event::CanFrame& frame, bool outbound) override;
  void onRecord(std::uint16_t link, Ns t_boot_ns, event::Kind kind, ByteView packed) override;
  void onBytes(std::uint16_t link, Ns t_boot_ns, ByteView bytes, bool outbound) override;
  void onUnsent(std::uint16_t link, Ns t_boot_ns) override { asker_.onUnsent(link, t_boot_ns); }
  [[nodiscard]] bool blanksContent() const override { return envelope_ != nullptr; }

  // Connection
  void onCommand(const std::shared_ptr<Connection>& from, const Command& command);
  void onClosed(const std::shared_ptr<Connection>& connection, const std::string& why);
  void tellLeftOut(const Connection& connection, std::uint64_t batches);

 private:
  Status start();
  Status makeLinks();
  Result<link::Permit> searchPermit(std::uint16_t link, bool extended);
  [[nodiscard]] std::string contentText() const;
  Status beginEnvelope();
  Status attempt(event::Attempt declared);
  void emitDigests();
  void openLinks();
  [[nodiscard]] bool tooLoud(const event::LinkState& state, event::Silence grade) const;
  void heedAttemptElsewhere(std::uint16_t link);
  void refuseLink(std::size_t index, event::LinkState state);
  void accept();
  void finishAfter(Ns wait_ns);
  void onHello(const std::shared_ptr<Connection>& from, const Command& hello);
  void afterEvent();
  void flush();
  void armAsker();
  void housekeeping();
  void noteClock(const ClockPair& clocks);
  void noteDisk();
  void ask(const std::shared_ptr<Connection>& from, const Command& command);
  Status vouch(const Command& command);
  Reply status(std::uint32_t id) const;
  void onRecordFailed(const Error& e);
  void beginFinish();
  void endWhenAlone();
  template <class T>
  void note(const T& record) {
    emit(event::kNoLink, bootNow(), record);
  }
  void tellStarter(const Reply& reply);

  const Config config_;
  int ready_fd_;
  std::shared_ptr<spdlog::logger> log_ = roomLog("recorder");
  asio::io_context io_{1};
  asio::local::stream_protocol::acceptor acceptor_{io_};
  asio::signal_set signals_{io_, SIGTERM, SIGINT};
  asio::steady_timer flush_timer_{io_}, asker_timer_{io_}, tick_timer_{io_}, end_timer_{io_};

  limits::Limits limits_;
  protocol::Gate gate_;
  protocol::Asker asker_;
  std::vector<std::unique_ptr<link::Link>> links_;
  std::vector<std::optional<event::LinkState>> sealed_off_;  // links that the seal keeps closed, as told
  std::unique_ptr<protocol::Envelope> envelope_;             // from an attempt's begin to the end of the run

  std::unique_ptr<Journal> journal_;
  SleepLock sleep_lock_;
  AttemptMark attempt_mark_;
  std::string start_note_;
  ClockPair clock_;
  std::uint64_t sequence_ = 1;
  event::Batch batch_;
  std::uint64_t dropped_ = 0;  // events the journal could not take, not yet told
  std::uint64_t sent_ = 0;
  Ns asker_armed_ns_ = kNoTime;
  bool flush_armed_ = false;
  bool low_disk_told_ = false;
  bool opened_ = false;
  bool finishing_ = false;
  int exit_code_ = 0;

  std::list<std::shared_ptr<Connection>> connections_;
  std::shared_ptr<Connection> owner_;
  std::vector<std::pair<std::shared_ptr<Connection>, std::uint32_t>> finish_waiters_;
};

// ---- Connection

void Connection::start() {
  asio::co_spawn(
      socket_.get_executor(), [self = shared_from_this()] { return self->readCommands(); },
      [self = shared_from_this()](const std::exception_ptr& fault) {
        std::string why = "ended";
        try {
          if (fault) std::rethrow_exception(fault);
        } catch (const std::exception& e) {
          why = e.what();
        }
        self->recorder_.onClosed(self, why);
      });
}

asio::awaitable<void> Connection::readCommands() {
  Splitter in;
  for (;;) {
    constexpr std::size_t kChunk = 4096;
    std::uint8_t* room = in.room(kChunk);
    const std::size_t n = co_await socket_.async_read_some(asio::buffer(room, kChunk), asio::use_awaitable);
    in.filled(n);
    while (const auto piece = in.next()) {
      Command command;
      if (piece->type == MessageType::command && unpack(piece->payload, command))
        recorder_.onCommand(shared_from_this(), command);
    }
    if (in.broken()) co_return;
  }
}

void Connection::send(std::shared_ptr<const Bytes> message, bool is_batch) {
  if (is_batch && out_bytes_ + message->size() > kClientQueueBytes) {
    ++left_out_;
    return;
  }
  out_bytes_ += message->size();
  out_.push_back(std::move(message));
  if (out_.size() == 1) writeNext();
}

void Connection::writeNext() {
  asio::async_write(socket_, asio::buffer(*out_.front()),
                    [self = shared_from_this()](const boost::system::error_code& fault, std::size_t) {
                      if (fault) {
                        self->out_.clear();
                        self->out_bytes_ = 0;
                        return;  // the reading side notices that the client is gone
                      }
                      self->out_bytes_ -= self->out_.front()->size();
                      self->out_.pop_front();
                      if (self->left_out_ > 0 && self->out_bytes_ < kClientQueueBytes / 2)
                        self->recorder_.tellLeftOut(*self, std::exchange(self->left_out_, 0));
                      if (!self->out_.empty()) self->writeNext();
                    });
}

// ---- Recorder: start

protocol::GateSettings gateSettings(const Config& config) {
  protocol::GateSettings s;
  s.sealed = config.sealed;
  s.rate_fixed = config.rate_fixed;
  if (config.module_request_id != 0) s.module_request_ids.push_back(config.module_request_id);
  return s;
}

Recorder::Recorder(const Config& config, int ready_fd)
    : config_(config),
      ready_fd_(ready_fd),
      gate_(gateSettings(config), limits_),
      asker_(
          gate_, limits_, *this,
          [this](std::uint16_t link, link::Permit permit) -> Status {
            Status state = links_.at(link)->send(std::move(permit));
            if (state) ++sent_;
            return state;
          },
          [this](std::uint16_t link) { links_.at(link)->exchangeOver(); }) {}

void Recorder::tellStarter(const Reply& reply) {
  const Bytes message = encode(MessageType::reply, pack(reply));
  if (::write(ready_fd_, message.data(), message.size()) < 0)
    log_->warn("whoever started the recorder is gone");
  // The pipe's place is taken by /dev/null: nothing of the recorder may ever reach a stdout.
  const int null = open("/dev/null", O_RDWR | O_CLOEXEC);
  dup2(null, ready_fd_);
  close(null);
}

Status Recorder::start() {
  utsname os{};
  uname(&os);
  clock_ = readClocks();
  capture::SectionFacts facts;
  facts.application = "Pin16 " PIN16_VERSION;
  facts.os = fmt::format("{} {}", os.sysname, os.release);
  facts.hardware = os.machine;
  facts.comment = config_.command + "; " + contentText();
  facts.utc_offset_ns = clock_.offset();
  // A wrong link leaves no file behind.
  if (Status links = makeLinks(); !links) return links;
  if (!config_.attempt.empty())
    if (Status begun = beginEnvelope(); !begun) return begun;
  auto journal = Journal::open(config_.file, facts,
                               [this](const Error& e) { asio::post(io_, [this, e] { onRecordFailed(e); }); });
  if (!journal) return journal.error();
  journal_ = std::move(*journal);

  ::unlink(config_.socket.c_str());
  boost::system::error_code fault;
  const asio::local::stream_protocol::endpoint at(config_.socket);
  acceptor_.open(at.protocol(), fault);
  if (!fault) acceptor_.bind(at, fault);
  if (!fault) acceptor_.listen(asio::socket_base::max_listen_connections, fault);
  if (fault)
    return Error{ErrorKind::record, "the recorder's socket could not be made: " + fault.message(),
                 config_.socket, "check that its folder exists and is yours"};
  if (auto lock = SleepLock::take()) {
    sleep_lock_ = std::move(*lock);
    start_note_ = "suspend inhibited";
  } else {
    start_note_ = lock.error().text();
  }
  return {};
}

Status Recorder::makeLinks() {
  for (const std::string& text : config_.uris) {
    const auto uri = link::parseUri(text);
    if (!uri) return uri.error();
    link::Context context{io_, *this, static_cast<std::uint16_t>(links_.size())};
    if (config_.search)
      context.search_permit = [this](std::uint16_t link, bool extended) {
        return searchPermit(link, extended);
      };
    auto made = link::makeLink(*uri, context);
    if (!made) return made.error();
    links_.push_back(std::move(*made));
    if (links_.back()->rateNamed()) gate_.nameRate(static_cast<std::uint16_t>(links_.size() - 1));
  }
  return {};
}

/// Whoever says --search vouches for each rate that is tried.
Result<link::Permit> Recorder::searchPermit(std::uint16_t link, bool extended) {
  const Bytes request{0x01, 0x00};
  gate_.nameRate(link);
  heedAttemptElsewhere(link);
  auto permit = gate_.request(link, bootNow(), protocol::functionalTarget(extended), request);
  if (!permit)
    emit(link, bootNow(), protocol::Gate::refused(request, permit.error()));
  else
    ++sent_;
  return permit;
}

/// For the section header: the first question that is asked later.
std::string Recorder::contentText() const {
  if (!config_.authority.empty())
    return "content of attempts is kept in full, by the authority of " + config_.authority;
  return fmt::format("{} answer data is blanked and HMAC-SHA-256 digests are kept, key {}",
                     !config_.attempt.empty() ? "from its first frame on" : "in attempts",
                     config_.digest_key.empty() ? "of this run alone, forgotten at its end"
                                                : capture::keyName(config_.digest_key));
}

/// From now on no content reaches a batch. What of it passes through this process is in no dump either: a
/// crash leaves none, and nobody but root can look into the process.
Status Recorder::beginEnvelope() {
  if (envelope_ || !config_.authority.empty()) return {};
  Bytes key = config_.digest_key.empty() ? capture::randomBytes(32) : config_.digest_key;
  const rlimit none{0, 0};
  if (key.empty() || prctl(PR_SET_DUMPABLE, 0) != 0 || setrlimit(RLIMIT_CORE, &none) != 0)
    return Error{ErrorKind::record,
                 "the content of an attempt cannot be kept out of a crash dump, or no key made", config_.file,
                 "nothing was recorded; run it with PIN16_LOG=debug and report it"};
  envelope_ = std::make_unique<protocol::Envelope>(limits_, std::move(key));
  if (config_.module_request_id != 0)
    envelope_->hint(config_.module_request_id, config_.module_answer_id, config_.module_extended);
  for (std::size_t i = 0; i < config_.uris.size(); ++i)
    if (config_.uris[i].starts_with("replay:")) envelope_->noDigests(static_cast<std::uint16_t>(i));
  return {};
}

Status Recorder::attempt(event::Attempt declared) {
  if (declared.begins) {
    gate_.shut("an attempt of the other equipment has begun in this run");
    if (Status marked = attempt_mark_.set(config_.socket); !marked) return marked;
    if (Status begun = beginEnvelope(); !begun) return begun;
    declared.full = !config_.authority.empty();
  }
  note(declared);
  return {};
}

void Recorder::emitDigests() {
  for (const auto& made : envelope_->takeDigests())
    batch_.add(sequence_++, made.t_ns, made.link, event::Kind::digest, made.digest);
}

/// A meter hangs on no bus, a file neither. While an attempt is recorded elsewhere a link must be silent too,
/// but for the simulated bench, which has no wires.
bool Recorder::tooLoud(const event::LinkState& state, event::Silence grade) const {
  if (state.meter || state.time_origin == "file") return false;
  const bool elsewhere = state.driver != "bench" && attemptElsewhere(config_.socket);
  return grade < (elsewhere ? std::max(config_.silence, event::Silence::claimed) : config_.silence);
}

/// Checked before each request: an attempt may have begun since.
void Recorder::heedAttemptElsewhere(std::uint16_t link) {
  if (links_.at(link)->state().driver != "bench" && attemptElsewhere(config_.socket))
    gate_.shut("an attempt of the other equipment runs in another recording");
}

void Recorder::refuseLink(std::size_t index, event::LinkState state) {
  const char* const wanted = config_.silence == event::Silence::proven ? "proven" : "at least claimed";
  state.condition = event::LinkCondition::forbidden;
  state.text = fmt::format(
      "{}: a link must be silent, {}, and this one is not; it is not used",
      config_.sealed ? "the job is sealed" : "an attempt of the other equipment runs in another recording",
      wanted);
  state.advice =
      state.uri.starts_with("socketcan:")
          ? fmt::format("ip link set {0} down; ip link set {0} type can listen-only on; ip link set {0} up",
                        state.uri.substr(state.uri.find(':') + 1))
          : "take an adapter that can listen only and leave out listen=no; what a device claims is enough "
            "unless the job says silence = \"proven\"";
  const auto link = static_cast<std::uint16_t>(index);
  sealed_off_[index] = state;
  emit(link, bootNow(), event::Refused{"open " + state.uri, state.text});
  emit(link, bootNow(), state);
}

void Recorder::openLinks() {
  sealed_off_.resize(links_.size());
  for (std::size_t i = 0; i < links_.size(); ++i) {
    if (tooLoud(links_[i]->state(), links_[i]->silentAtBest()))
      refuseLink(i, links_[i]->state());
    else
      links_[i]->open();
  }
}

int Recorder::run() {
  if (Status state = start(); !state) {
    tellStarter(Reply::failure(0, state.error()));
    if (journal_) (void)journal_->finish();
    ::unlink(config_.socket.c_str());
    return exitCode(state.error().kind);
  }
  signals_.async_wait([this](const boost::system::error_code& fault, int) {
    if (!fault) beginFinish();
  });
  accept();
  noteClock(clock_);
  note(event::Note{start_note_, "recorder"});
  noteDisk();
  if (!config_.shut_reason.empty()) gate_.shut(config_.shut_reason);
  // The links wait for the owner, so that it sees the stream from its first event.
  finishAfter(kOwnerWait_ns);
  housekeeping();
  tellStarter(status(0));
  io_.run();
  ::unlink(config_.socket.c_str());
  return exit_code_;
}

void Recorder::finishAfter(Ns wait_ns) {
  end_timer_.expires_after(nanoseconds(wait_ns));
  end_timer_.async_wait([this](const boost::system::error_code& fault) {
    if (!fault) beginFinish();
  });
}

void Recorder::onHello(const std::shared_ptr<Connection>& from, const Command& hello) {
  from->setName(hello.text);
  from->greeted = true;
  note(event::Client{hello.text, true, ""});
  if (hello.owner && !opened_) {
    opened_ = true;
    owner_ = from;
    end_timer_.cancel();
    if (config_.for_ns > 0) finishAfter(config_.for_ns);
    if (event::Attempt begins; !config_.attempt.empty() && unpack(config_.attempt, begins))
      (void)attempt(begins);  // what could fail has been done at the start
    openLinks();
    return;
  }
  // Who comes later is told how the links are; these states are in the capture already.
  event::Batch now;
  now.utc_offset_ns = clock_.offset();
  for (std::size_t i = 0; i < links_.size(); ++i)
    now.add(0, bootNow(), static_cast<std::uint16_t>(i), event::Kind::link,
            i < sealed_off_.size() && sealed_off_[i] ? *sealed_off_[i] : links_[i]->state());
  from->send(std::make_shared<const Bytes>(encodeBatch(now)), true);
}

void Recorder::accept() {
  acceptor_.async_accept([this](const boost::system::error_code& fault, Socket socket) {
    if (fault) return;  // closed: finishing
    auto connection = std::make_shared<Connection>(*this, std::move(socket));
    connections_.push_back(connection);
    connection->start();
    accept();
  });
}

// ---- Recorder: the stream

void Recorder::onFrame(std::uint16_t link, Ns t_boot_ns, const event::CanFrame& frame, bool outbound) {
  if (link < sealed_off_.size() && sealed_off_[link]) return;
  const event::CanFrame kept = envelope_ ? envelope_->take(link, t_boot_ns, frame, outbound) : frame;
  batch_.addFrame(sequence_++, t_boot_ns, link, kept, outbound ? event::kOutbound : std::uint8_t{0});
  batch_.headers.back().wire_bits = can::packWireBits(can::wireBits(kept));
  if (envelope_) emitDigests();
  gate_.onFrame(link, t_boot_ns, frame, outbound);
  asker_.onFrame(link, t_boot_ns, frame, outbound);
  afterEvent();
}

void Recorder::onRecord(std::uint16_t link, Ns t_boot_ns, event::Kind kind, ByteView packed) {
  const bool of_sealed_off = link < sealed_off_.size() && sealed_off_[link];
  if (of_sealed_off && kind == event::Kind::link) {
    if (event::LinkState said; !unpack(packed, said) || said != *sealed_off_[link]) return;
  }
  event::Line line;
  const bool is_line = kind == event::Kind::line && unpack(packed, line);
  const Bytes kept = is_line && envelope_ ? pack(envelope_->take(link, t_boot_ns, line)) : Bytes();
  batch_.addRaw(sequence_++, t_boot_ns, link, kind, kept.empty() ? packed : ByteView(kept),
                is_line && line.ours ? event::kOutbound : std::uint8_t{0});
  if (is_line) {
    if (envelope_) emitDigests();
    gate_.onLine(link, t_boot_ns, line);
    asker_.onLine(link, t_boot_ns, line);
  }
  if (event::Gap gap; envelope_ && kind == event::Kind::gap && unpack(packed, gap)) {
    envelope_->gap(link, gap.from_ns, gap.to_ns);
    emitDigests();
  }
  if (event::LinkState state; kind == event::Kind::link && unpack(packed, state) && !state.meter) {
    gate_.onLinkState(link, t_boot_ns, state);
    asker_.onLinkState(link, t_boot_ns, state);
    if (!of_sealed_off && state.condition == event::LinkCondition::up && tooLoud(state, state.silence)) {
      // Told by the link itself, within its own call: it is closed when that is over.
      asio::post(io_, [this, link, state] {
        if (finishing_ || sealed_off_[link]) return;
        refuseLink(link, state);
        links_[link]->close();
      });
    }
  }
  if (event::Sent sent; kind == event::Kind::sent && unpack(packed, sent)) asker_.onSent(link, sent);
  afterEvent();
}

void Recorder::onBytes(std::uint16_t link, Ns t_boot_ns, ByteView bytes, bool outbound) {
  // Frames are in them as text: of what came in an attempt the number stays.
  const Bytes none(envelope_ && !outbound ? bytes.size() : 0);
  batch_.addRaw(sequence_++, t_boot_ns, link, event::Kind::bytes, none.empty() ? bytes : ByteView(none),
                outbound ? event::kOutbound : std::uint8_t{0});
  afterEvent();
}

void Recorder::afterEvent() {
  if (batch_.headers.size() >= event::kBatchEvents) {
    flush();
  } else if (!flush_armed_) {  // an event can bring others with it
    flush_armed_ = true;
    flush_timer_.expires_after(nanoseconds(event::kBatchAge_ns));
    flush_timer_.async_wait([this](const boost::system::error_code& fault) {
      if (!fault) flush();
    });
  }
  armAsker();
}

void Recorder::flush() {
  flush_armed_ = false;
  if (batch_.headers.empty()) return;
  batch_.utc_offset_ns = clock_.offset();
  auto whole = std::make_shared<event::Batch>();
  std::swap(*whole, batch_);
  if (!connections_.empty()) {
    const auto message = std::make_shared<const Bytes>(encodeBatch(*whole));
    for (const auto& c : connections_) c->send(message, true);
  }
  const std::uint64_t count = whole->headers.size();
  if (!journal_->take(std::move(whole))) dropped_ += count;
}

void Recorder::armAsker() {
  const Ns due = asker_.nextDeadline();
  if (due == asker_armed_ns_) return;
  asker_armed_ns_ = due;
  asker_timer_.cancel();
  if (due == kNoTime) return;
  asker_timer_.expires_after(nanoseconds(std::max<Ns>(0, due - bootNow())));
  asker_timer_.async_wait([this](const boost::system::error_code& fault) {
    if (fault) return;
    asker_armed_ns_ = kNoTime;
    asker_.onTime(bootNow());
    armAsker();
  });
}

// ---- Recorder: housekeeping

void Recorder::noteClock(const ClockPair& clocks) {
  const ClockState state = readClockState();
  clock_ = clocks;
  note(event::Clock{clocks.boot_ns, clocks.utc_ns, state.synchronised ? event::Known::yes : event::Known::no,
                    state.estimated_error_ns});
}

void Recorder::noteDisk() {
  struct statvfs disk {};
  if (statvfs(config_.file.c_str(), &disk) != 0) return;
  const std::uint64_t free_bytes = std::uint64_t{disk.f_bavail} * disk.f_frsize;
  if (start_note_.find("free disk") == std::string::npos)
    start_note_ += fmt::format("; free disk {:.1f} GB", static_cast<double>(free_bytes) / 1e9);
  if (free_bytes < kLowDisk_bytes && !low_disk_told_) {
    low_disk_told_ = true;
    note(event::Finding{"recorder", "disk-low",
                        fmt::format("only {} MB free where the capture is written", free_bytes >> 20U)});
  }
}

void Recorder::housekeeping() {
  const ClockPair now = readClocks();
  if (const Ns moved = now.offset() - clock_.offset(); moved > kClockStep_ns || moved < -kClockStep_ns)
    noteClock(now);
  noteDisk();
  if (envelope_) {
    envelope_->advance(bootNow());
    emitDigests();
    if (!batch_.headers.empty()) afterEvent();
  }
  if (dropped_ > 0) note(event::Loss{event::LossPlace::queue, std::exchange(dropped_, 0)});
  tick_timer_.expires_after(nanoseconds(kHousekeeping_ns));
  tick_timer_.async_wait([this](const boost::system::error_code& fault) {
    if (!fault) housekeeping();
  });
}

void Recorder::tellLeftOut(const Connection& connection, std::uint64_t batches) {
  note(
      event::Client{connection.name(), true,
                    fmt::format("too slow: {} batches were not shown to it; the capture has them", batches)});
}

void Recorder::onRecordFailed(const Error& e) {
  log_->error("{}", e.text());
  exit_code_ = exitCode(ErrorKind::record);
  for (const auto& c : connections_) c->reply(Reply::failure(0, e));
  beginFinish();
}

// ---- Recorder: clients

void Recorder::onClosed(const std::shared_ptr<Connection>& connection, const std::string& why) {
  connections_.remove(connection);
  endWhenAlone();
  if (finishing_) return;
  if (!connection->greeted) return;  // only looked whether we are there
  if (!connection->said_goodbye) log_->info("{} went away: {}", connection->name(), why);
  note(event::Client{connection->name(), false,
                     connection->said_goodbye ? "detached" : "gone without a word"});
  if (connection != owner_) return;
  owner_.reset();
  if (!config_.outlive_owner) {
    beginFinish();
  } else if (config_.for_ns == 0) {
    finishAfter(kOrphan_ns);
  }
}

Reply Recorder::status(std::uint32_t id) const {
  Reply r;
  r.id = id;
  r.file = config_.file;
  r.events = sequence_ - 1;
  r.bytes = journal_->bytes();
  r.sent = sent_;
  r.note = start_note_;
  return r;
}

void Recorder::onCommand(const std::shared_ptr<Connection>& from, const Command& command) {
  switch (command.action) {
    case Action::hello:
      onHello(from, command);
      break;
    case Action::ask:
      ask(from, command);
      return;
    case Action::note:
      note(event::Note{command.text, command.by});
      break;
    case Action::reading:
      onRecord(event::kNoLink, bootNow(), event::Kind::reading, command.packed);
      break;
    case Action::power:
      onRecord(event::kNoLink, bootNow(), event::Kind::power, command.packed);
      break;
    case Action::clearance:
      onRecord(event::kNoLink, bootNow(), event::Kind::clearance, command.packed);
      break;
    case Action::verdict:
      onRecord(event::kNoLink, bootNow(), event::Kind::verdict, command.packed);
      break;
    case Action::shut:
      asker_.endSessions(bootNow());
      gate_.shut(command.text);
      note(event::Note{"gate shut: " + command.text, "recorder"});
      break;
    case Action::attempt: {
      event::Attempt declared;
      const Status done = unpack(command.packed, declared)
                              ? attempt(declared)
                              : Error{ErrorKind::internal, "the attempt's record cannot be read", "", ""};
      if (!done) {
        from->reply(Reply::failure(command.id, done.error()));
        return;
      }
      break;
    }
    case Action::vouch:
      if (const Status done = vouch(command); !done) {
        from->reply(Reply::failure(command.id, done.error()));
        return;
      }
      break;
    case Action::finish:
      from->said_goodbye = true;
      finish_waiters_.emplace_back(from, command.id);
      beginFinish();
      return;
    case Action::status:
      break;
  }
  flush();  // what the command caused reaches the client before the reply does
  from->reply(status(command.id));
}

Status Recorder::vouch(const Command& command) {
  if (command.link >= links_.size())
    return Error{ErrorKind::usage, "there is no such link in this run", "", ""};
  heedAttemptElsewhere(command.link);
  if (Status done = gate_.vouchRate(command.link); !done) return done;
  const event::LinkState& state = links_[command.link]->state();
  note(event::Note{fmt::format("the bit rate of {} is vouched for: {}", config_.uris[command.link],
                               state.bitrate != 0 ? fmt::format("{} bit/s", state.bitrate) : "as it is set"),
                   command.by});
  return {};
}

void Recorder::ask(const std::shared_ptr<Connection>& from, const Command& command) {
  if (command.link >= links_.size()) {
    from->reply(Reply::failure(command.id, {ErrorKind::usage, "there is no such link in this run", "", ""}));
    return;
  }
  if (const event::LinkState& state = links_[command.link]->state(); state.meter) {
    from->reply(Reply::failure(command.id, {ErrorKind::usage, "a meter cannot be asked anything", state.uri,
                                            "name a link to the bus"}));
    return;
  }
  heedAttemptElsewhere(command.link);
  protocol::Ask ask;
  ask.link = command.link;
  ask.request = command.packed;
  ask.target.request_id = command.request_id;
  if (command.answer_id != 0) ask.target.answer_id = command.answer_id;
  ask.target.extended = command.extended;
  ask.target.functional = command.functional;
  ask.target.line = command.line;
  ask.wait_ns = command.wait_ns;
  ask.spacing_ns = command.spacing_ns;
  asker_.ask(ask, bootNow(), [this, from, id = command.id](const protocol::AskResult& result) {
    flush();  // its events reach the client before the reply does
    if (!result.state) {
      from->reply(Reply::failure(id, result.state.error()));
      return;
    }
    Reply r = status(id);
    r.exchanges = result.exchanges;
    r.confirmed = result.confirmed;
    from->reply(r);
  });
  armAsker();
}

void Recorder::beginFinish() {
  if (finishing_) return;
  finishing_ = true;
  boost::system::error_code ignored;
  acceptor_.close(ignored);  // NOLINT(bugprone-unused-return-value)
  signals_.cancel(ignored);  // NOLINT(bugprone-unused-return-value)
  asker_.endSessions(bootNow());
  for (const auto& one : links_) one->close();
  if (envelope_) {
    envelope_->finish(bootNow());
    emitDigests();
  }
  if (dropped_ > 0) note(event::Loss{event::LossPlace::queue, std::exchange(dropped_, 0)});
  flush();
  for (auto* timer : {&flush_timer_, &asker_timer_, &tick_timer_, &end_timer_}) timer->cancel();
  const Status whole = journal_->finish();
  if (!whole) exit_code_ = exitCode(whole.error().kind);
  for (const auto& [client, id] : finish_waiters_) {
    client->reply(whole ? status(id) : Reply::failure(id, whole.error()));
  }
  for (const auto& c : connections_) c->stopReading();
  // A client that does not read any more must not keep the process.
  end_timer_.expires_after(nanoseconds(kLinger_ns));
  end_timer_.async_wait([this](const boost::system::error_code& fault) {
    if (!fault) io_.stop();
  });
  endWhenAlone();
}

void Recorder::endWhenAlone() {
  if (finishing_ && connections_.empty()) end_timer_.cancel();
}

}  // namespace

int runRecorder(const Config& config, int ready_fd) {
  std::signal(SIGPIPE, SIG_IGN);
  std::signal(SIGHUP, SIG_IGN);
  return Recorder(config, ready_fd).run();
}

}  // namespace pin16::recorder
