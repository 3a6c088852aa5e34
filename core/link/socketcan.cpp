// SPDX-License-Identifier: Apache-2.0
#include "core/link/socketcan.hpp"

#include <spdlog/spdlog.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <filesystem>

#include "core/base/log.hpp"
#include "core/link/can_socket.hpp"
#include "core/link/netlink.hpp"

namespace pin16::link {
namespace {

namespace asio = boost::asio;
using std::chrono::milliseconds;

constexpr std::uint32_t kBufferBytes = 8U << 20;  // 0 lost at 60 000 frames/s in the VM tests
constexpr std::uint32_t kBufferBytesMost = 1U << 30;
constexpr milliseconds kLookEvery{1000};
constexpr milliseconds kRetryFirst{250};
constexpr milliseconds kRetryMost{2000};
constexpr Ns kErrorLookAge_ns = 100 * kNsPerMs;  // error frames ask for the counters at most this often
constexpr int kBatchesPerTurn = 16;              // then the other links of the io thread have their turn

const char* originText(StampClock::Origin origin) {
  switch (origin) {
    case StampClock::Origin::hardware:
      return "hardware";
    case StampClock::Origin::user:
      return "user";
    case StampClock::Origin::none:  // before the first frame: what was asked for
    case StampClock::Origin::kernel:
      return "kernel";
  }
  return "unknown";
}

class SocketCanLink final : public Link {
 public:
  SocketCanLink(const Uri& uri, std::uint32_t buffer_bytes, const Context& context)
      : context_(context),
        name_(uri.target),
        buffer_bytes_(buffer_bytes),
        readable_(context.io),
        changed_(context.io),
        timer_(context.io) {
    state_.uri = uri.text;
    state_.description = "CAN interface " + name_;
  }
  ~SocketCanLink() override {
    if (readable_.is_open()) readable_.release();  // socket_ closes it
  }

  void open() override;
  void close() override;
  Status send(Permit permit) override;
  [[nodiscard]] const event::LinkState& state() const override { return state_; }
  /// Whether the interface is set so, the kernel says once it is open; reading it disturbs nobody.
  [[nodiscard]] event::Silence silentAtBest() const override { return event::Silence::proven; }

 private:
  void waitReadable();
  void waitChanged();
  void schedule(milliseconds delay);
  void look();
  void lookWhileUp(const Result<std::optional<CanFacts>>& facts);
  void tryOpen();
  void missing();
  void opened(const CanFacts& facts);
  void lost(const std::optional<CanFacts>& facts);
  void trouble(event::LinkCondition condition, std::string text, std::string advice);
  void troubleFromErrno(int error);
  void become(event::LinkState next);
  [[nodiscard]] event::LinkState stateFrom(const CanFacts& facts) const;

  int readBatch(Ns until_boot_ns);
  void drain(Ns until_boot_ns);
  void emitLoss(Ns t_boot_ns, std::uint32_t count);
  void shut();

  /// For handlers: false once close() was called or the link is gone.
  [[nodiscard]] std::weak_ptr<bool> token() const { return alive_; }

  Context context_;
  const std::string name_;
  const std::uint32_t buffer_bytes_;
  event::LinkState state_;
  CanSocket socket_;
  StampClock stamps_;
  std::vector<CanSocket::Received> received_;
  asio::posix::stream_descriptor readable_;  // socket_'s descriptor, only lent
  asio::posix::stream_descriptor changed_;   // rtnetlink
  asio::steady_timer timer_;
  milliseconds retry_ = kRetryFirst;
  int interface_index_ = 0;
  Ns seen_boot_ns_ = kNoTime;        // see the header
  int socket_error_ = 0;             // that the kernel told once while reading
  Ns error_seen_boot_ns_ = kNoTime;  // seen_boot_ns_ by then
  Ns gap_from_boot_ns_ = kNoTime;
  Ns looked_boot_ns_ = 0;
  bool error_frames_ = false;  // came since the last look
  bool was_up_ = false;
  bool missed_ = false;  // was up, is not: a gap is open
  std::string missed_why_;
  std::shared_ptr<bool> alive_;
};

void SocketCanLink::open() {
  alive_ = std::make_shared<bool>(true);
  const int watch = openLinkWatch();
  if (watch >= 0) {
    changed_.assign(watch);
    waitChanged();
  } else {
    roomLog("link")->warn("{}: no rtnetlink notices; looking every second only", state_.uri);
  }
  look();
}

void SocketCanLink::waitChanged() {
  changed_.async_wait(asio::posix::stream_descriptor::wait_read,
                      [this, alive = token()](const boost::system::error_code& ec) {
                        if (ec || alive.expired()) return;
                        drainLinkWatch(changed_.native_handle());
                        retry_ = kRetryFirst;
                        look();
                        if (!alive.expired()) waitChanged();
                      });
}

void SocketCanLink::schedule(milliseconds delay) {
  timer_.expires_after(delay);
  timer_.async_wait([this, alive = token()](const boost::system::error_code& ec) {
    if (!ec && !alive.expired()) look();
  });
}

/// Compares what is with what we have. Ends with the next look scheduled.
void SocketCanLink::look() {
  looked_boot_ns_ = bootNow();
  if (socket_.isOpen()) lookWhileUp(readCanInterface(name_));
  if (!socket_.isOpen()) tryOpen();
  if (socket_.isOpen()) {
    retry_ = kRetryFirst;
    schedule(kLookEvery);
  } else {
    schedule(retry_);
    retry_ = std::min(2 * retry_, kRetryMost);
  }
}

void SocketCanLink::lookWhileUp(const Result<std::optional<CanFacts>>& facts) {
  if (!facts) {
    roomLog("link")->warn("{}: {}", state_.uri, facts.error().text());
    return;
  }
  const auto& f = *facts;
  if (!f || !f->up || f->index != interface_index_) {
    lost(f);
    return;
  }
  drain(looked_boot_ns_);
  if (socket_error_ != 0) {  // down and up again between two looks
    lost(f);
    return;
  }
  seen_boot_ns_ = std::max(seen_boot_ns_, looked_boot_ns_);
  become(stateFrom(*f));
}

void SocketCanLink::tryOpen() {
  if (const int error = socket_.open(buffer_bytes_); error != 0) return troubleFromErrno(error);
  const auto facts = readCanInterface(name_);
  if (facts && *facts && (*facts)->up) {
    const int error = socket_.bind((*facts)->index);
    if (error == 0) return opened(**facts);
    socket_.close();
    return troubleFromErrno(error);
  }
  socket_.close();
  if (!facts) return trouble(event::LinkCondition::failed, facts.error().what, "");
  if (!*facts) return missing();
  event::LinkState next = stateFrom(**facts);
  next.condition = event::LinkCondition::down;
  next.text = "the interface " + name_ + " is down";
  next.advice = bringUpLine(**facts);
  become(std::move(next));
}

void SocketCanLink::missing() {
  std::error_code ec;
  if (std::filesystem::exists("/sys/class/net/" + name_, ec))
    return trouble(event::LinkCondition::failed, name_ + " exists, but is not a CAN interface",
                   "`pin16 links` shows the CAN interfaces");
  CanFacts wanted;
  wanted.name = name_;
  if (name_.starts_with("vcan")) wanted.kind = "vcan";
  const std::string line =
      wanted.virtualBus()
          ? "sudo ip link add dev " + name_ + " type vcan && " + bringUpLine(wanted)
          : "Plug the adapter in (`pin16 links` shows what is there), then: " + bringUpLine(wanted);
  if (was_up_)
    return trouble(event::LinkCondition::gone,
                   "the interface " + name_ + " vanished: unplugged, or its supply failed", line);
  trouble(event::LinkCondition::missing, "there is no interface " + name_, line);
}

void SocketCanLink::opened(const CanFacts& f) {
  const Ns now_ns = bootNow();
  interface_index_ = f.index;
  socket_error_ = 0;
  if (missed_) context_.host.emit(context_.index, now_ns, event::Gap{gap_from_boot_ns_, now_ns, missed_why_});
  missed_ = false;
  was_up_ = true;
  seen_boot_ns_ = now_ns;
  stamps_ = StampClock();
  readable_.assign(socket_.fd());
  become(stateFrom(f));
  waitReadable();
}

/// The interface is down or gone under us; frames that were already queued are kept.
void SocketCanLink::lost(const std::optional<CanFacts>& f) {
  missed_ = true;
  if (!f)
    missed_why_ = name_ + " vanished";
  else if (f->index != interface_index_)
    missed_why_ = name_ + " was removed and made anew";
  else
    missed_why_ = name_ + " was down";
  drain(bootNow());
  // Up again by now: what was read after the error may be from after it.
  gap_from_boot_ns_ = f && f->up && socket_error_ != 0 ? error_seen_boot_ns_ : seen_boot_ns_;
  shut();
}

void SocketCanLink::shut() {
  if (!socket_.isOpen()) return;
  readable_.release();
  socket_.close();
}

void SocketCanLink::close() {
  if (!alive_) return;
  alive_.reset();
  if (socket_.isOpen()) drain(bootNow());
  shut();
  timer_.cancel();
  if (changed_.is_open()) changed_.close();
  const Ns now_ns = bootNow();
  if (missed_)
    context_.host.emit(context_.index, now_ns,
                       event::Gap{gap_from_boot_ns_, now_ns, missed_why_ + " and did not come back"});
  missed_ = false;
  event::LinkState next = state_;
  next.condition = event::LinkCondition::finished;
  next.time_origin = originText(stamps_.origin());
  become(std::move(next));
}

void SocketCanLink::waitReadable() {
  readable_.async_wait(asio::posix::stream_descriptor::wait_read,
                       [this, alive = token()](const boost::system::error_code& ec) {
                         if (ec || alive.expired()) return;
                         int error = 0;
                         for (int i = 0; i < kBatchesPerTurn && error == 0; ++i) error = readBatch(INT64_MAX);
                         const bool stale = bootNow() - looked_boot_ns_ > kErrorLookAge_ns;
                         if (socket_error_ != 0 || (error_frames_ && stale)) {
                           error_frames_ = false;
                           look();  // closes if the interface is down or gone
                         }
                         if (!alive.expired() && readable_.is_open()) waitReadable();
                       });
}

/// 0 or errno; ECANCELED once a frame is later than `until`.
int SocketCanLink::readBatch(Ns until_boot_ns) {
  const int error = socket_.read(received_);
  if (error != 0) {
    if (error != EAGAIN && error != EINTR && socket_error_ == 0) {
      socket_error_ = error;
      error_seen_boot_ns_ = seen_boot_ns_;
    }
    return error;
  }
  const ClockPair now = readClocks();
  Ns t_boot_ns = now.boot_ns;
  for (const CanSocket::Received& r : received_) {
    t_boot_ns = stamps_.toBoot(r.stamps, now);
    emitLoss(t_boot_ns, r.lost);
    error_frames_ = error_frames_ || r.frame.error();
    context_.host.onFrame(context_.index, t_boot_ns, r.frame, r.outbound);
  }
  if (!received_.empty()) seen_boot_ns_ = std::max(seen_boot_ns_, t_boot_ns);
  return t_boot_ns > until_boot_ns ? ECANCELED : 0;
}

/// Reads what was received up to `until`, and no more: on a busy bus there would be no end. An error that the
/// socket holds (ENETDOWN, ENODEV) is reported once, ahead of the frames that are queued.
void SocketCanLink::drain(Ns until_boot_ns) {
  int error = 0;
  for (bool told = false; error == 0 || (!told && error != EAGAIN && error != ECANCELED);) {
    told = told || error != 0;
    error = readBatch(until_boot_ns);
  }
  if (error == EAGAIN) emitLoss(bootNow(), socket_.lostAtEnd());
}

void SocketCanLink::emitLoss(Ns t_boot_ns, std::uint32_t count) {
  if (count != 0) context_.host.emit(context_.index, t_boot_ns, event::Loss{event::LossPlace::kernel, count});
}

event::LinkState SocketCanLink::stateFrom(const CanFacts& f) const {
  event::LinkState s;
  s.uri = state_.uri;
  s.description = describe(f);
  s.condition = event::LinkCondition::up;
  s.bitrate = f.bitrate;
  s.data_bitrate = f.data_bitrate;
  s.sample_point_permille = f.sample_point_permille;
  s.fd = f.fd();
  s.listen_only = f.listenOnly();
  s.silence = s.listen_only == event::Known::yes ? event::Silence::proven : event::Silence::cannot;
  s.controller = f.controller;
  s.tx_errors = f.tx_errors;
  s.rx_errors = f.rx_errors;
  s.buffer_bytes = socket_.isOpen() ? socket_.bufferBytes() : 0;
  s.time_origin = originText(stamps_.origin());
  s.driver = f.driver;
  // The kernel's driver shows a frame as sent once it was written to the serial port.
  if (f.driver == "slcan") {
    s.own_frames = event::OwnFrames::taken;
    s.medium_explains = {"acknowledge: the driver shows a frame as sent once the adapter has it"};
  }
  return s;
}

/// What is unknown of an interface that is not there must not be told from the last time.
void SocketCanLink::trouble(event::LinkCondition condition, std::string text, std::string advice) {
  event::LinkState next;
  next.uri = state_.uri;
  next.description = "CAN interface " + name_;
  next.condition = condition;
  next.text = std::move(text);
  next.advice = std::move(advice);
  become(std::move(next));
}

void SocketCanLink::troubleFromErrno(int error) {
  switch (error) {
    case EAFNOSUPPORT:
    case EPROTONOSUPPORT:
      return trouble(
          event::LinkCondition::failed, "this kernel has no CAN (no SocketCAN in it, no module can-raw)",
          "Load it with: sudo modprobe can-raw; if there is no such module, another kernel is needed "
          "(Debian's own has it)");
    case EPERM:
    case EACCES:
      return trouble(
          event::LinkCondition::forbidden,
          "no permission to open a CAN socket: " + std::string(std::strerror(error)),
          "CAN sockets need no privilege by themselves: a container or sandbox forbids them; run Pin16 "
          "outside of it, where `ip link show " +
              name_ + "` shows the interface");
    default:
      return trouble(event::LinkCondition::failed,
                     "the CAN socket cannot be opened: " + std::string(std::strerror(error)),
                     "Look at: ip -details link show " + name_);
  }
}

void SocketCanLink::become(event::LinkState next) {
  if (next == state_) return;
  state_ = std::move(next);
  context_.host.emit(context_.index, bootNow(), state_);
}

Status SocketCanLink::send(Permit permit) {
  const event::CanFrame& f = permit.frame();
  const auto refuse = [this](std::string what, std::string advice) {
    return Error{ErrorKind::link, std::move(what), state_.uri, std::move(advice)};
  };
  if (!socket_.isOpen())
    return refuse(state_.text.empty() ? name_ + " is not open" : state_.text, state_.advice);
  if (state_.listen_only == event::Known::yes)
    return refuse(
        name_ + " is in listen-only mode and cannot send; nothing was sent",
        "Leaving listen-only makes this adapter acknowledge every frame on the bus. If that is wanted: "
        "sudo ip link set " +
            name_ + " down; sudo ip link set " + name_ + " up type can listen-only off");
  if (state_.controller == "bus-off")
    return refuse("the controller of " + name_ + " is bus-off",
                  "Check bit rate and wiring, then: sudo ip link set " + name_ + " type can restart");
  if (f.fd() && state_.fd == event::Known::no)
    return refuse(name_ + " carries no CAN FD frames", "sudo ip link set " + name_ +
                                                           " down; sudo ip link set " + name_ +
                                                           " up type can bitrate RATE dbitrate RATE fd on");
  context_.host.emit(context_.index, bootNow(), [&] {
    event::Sent sent;
    event::Batch::writeFrame(sent.frame, f);
    sent.purpose = permit.purpose();
    return sent;
  }());
  const int error = socket_.write(f);
  if (error == 0) return {};
  if (error == ENOBUFS || error == EAGAIN)
    return refuse(
        "the transmit queue of " + name_ + " is full: frames wait for the bus or for an acknowledgement",
        "Is another node there, at the same bit rate? Look at: ip -details -statistics link show " + name_);
  return refuse("the kernel did not take the frame: " + std::string(std::strerror(error)),
                "Look at: ip -details -statistics link show " + name_);
}

}  // namespace

Scheme socketCanScheme() {
  return {"socketcan",
          "socketcan:NAME[?buffer=BYTES]  a CAN interface of the kernel, for instance can0; receive buffer "
          "asked for",
          [](const Uri& uri, const Context& context) -> Result<std::unique_ptr<Link>> {
            if (const Status s = allowOptions(uri, {"buffer"}); !s) return s.error();
            std::uint32_t buffer_bytes = kBufferBytes;
            if (const std::string text = uri.option("buffer"); !text.empty()) {
              const auto value = toUnsigned(text);
              if (!value || *value == 0 || *value > kBufferBytesMost)
                return Error{ErrorKind::usage,
                             "buffer=\"" + text + "\" is not a number of bytes from 1 to " +
                                 std::to_string(kBufferBytesMost),
                             uri.text, "Leave it out for 8 MiB"};
              buffer_bytes = static_cast<std::uint32_t>(*value);
            }
            return std::unique_ptr<Link>(std::make_unique<SocketCanLink>(uri, buffer_bytes, context));
          }};
}

}  // namespace pin16::link
