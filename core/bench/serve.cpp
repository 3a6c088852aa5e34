// SPDX-License-Identifier: Apache-2.0
#include "core/bench/serve.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cerrno>
#include <csignal>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <list>

#include "core/base/clock.hpp"
#include "core/bench/serve_at.hpp"
#include "core/bench/serve_kline.hpp"
#include "core/bench/serve_scpi.hpp"
#include "core/bench/serve_slcan.hpp"
#include "core/bench/world.hpp"
#include "core/link/link.hpp"

namespace pin16::bench {
namespace {

namespace asio = boost::asio;
namespace fs = std::filesystem;
using asio::posix::stream_descriptor;

/// What waits for a host that does not read, beyond the pty's own buffer: half a second of a full bus at
/// 500 kbit/s. What comes on top is thrown away and told as an overrun, as an adapter does.
constexpr std::size_t kWaitingMost = 64U << 10;

/// A pty in raw mode with a link to it.
class Pty {
 public:
  Pty() = default;
  Pty(const Pty&) = delete;
  Pty& operator=(const Pty&) = delete;
  ~Pty() {
    std::error_code ignored;
    if (!link_.empty() && fs::read_symlink(link_, ignored) == name_) fs::remove(link_, ignored);
    if (ours_ >= 0) ::close(ours_);
    if (theirs_ >= 0) ::close(theirs_);
  }

  Status open(const std::string& directory, const std::string& device);
  [[nodiscard]] int fd() const { return ours_; }
  [[nodiscard]] const std::string& name() const { return name_; }
  [[nodiscard]] const std::string& link() const { return link_; }

 private:
  int ours_ = -1;
  int theirs_ = -1;  ///< kept open: hosts may come and go
  std::string name_;
  std::string link_;
};

Status Pty::open(const std::string& directory, const std::string& device) {
  const auto failed = [](const char* what) {
    return Error{ErrorKind::link, fmt::format("no pty: {}: {}", what, std::strerror(errno)), "bench", ""};
  };
  ours_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (ours_ < 0) return failed("posix_openpt");
  if (::grantpt(ours_) != 0 || ::unlockpt(ours_) != 0) return failed("unlockpt");
  std::array<char, 128> name{};
  if (::ptsname_r(ours_, name.data(), name.size()) != 0) return failed("ptsname_r");
  name_ = name.data();
  theirs_ = ::open(name_.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  if (theirs_ < 0) return failed(name_.c_str());
  termios raw{};
  if (::tcgetattr(theirs_, &raw) != 0) return failed("tcgetattr");
  ::cfmakeraw(&raw);
  if (::tcsetattr(theirs_, TCSANOW, &raw) != 0) return failed("tcsetattr");

  std::error_code fault;
  fs::create_directories(directory, fault);
  const fs::path link = fs::path(directory) / device;
  if (fs::is_symlink(fs::symlink_status(link, fault))) {
    fs::remove(link, fault);  // left by a bench that was killed
  } else if (fs::exists(link, fault)) {
    return Error{ErrorKind::input, "is in the way and is no link", link.string(),
                 "name another folder with --at"};
  }
  fs::create_symlink(name_, link, fault);
  if (fault)
    return Error{ErrorKind::input, "cannot be made: " + fault.message(), link.string(),
                 "--at needs a folder that can be written"};
  link_ = link.string();
  return {};
}

using Write = ServedDevice::Write;
using Options = std::vector<std::pair<std::string, std::string>>;
using MadeDevice = Result<std::unique_ptr<ServedDevice>>;

MadeDevice makeSlcan(World& world, Ns now_ns, const Options& options, Write write) {
  if (!options.empty()) return Error{ErrorKind::usage, "slcan takes no options", "--serve", "write slcan"};
  return std::unique_ptr<ServedDevice>(std::make_unique<SlcanAdapter>(world, now_ns, std::move(write)));
}

MadeDevice makeScpi(World& world, Ns /*now_ns*/, const Options& options, Write write) {
  auto manners = scpiManners(options);
  if (!manners) return manners.error();
  return std::unique_ptr<ServedDevice>(
      std::make_unique<ScpiInstrument>(world, *std::move(manners), std::move(write)));
}

MadeDevice makeAt(World& world, Ns now_ns, const Options& options, Write write) {
  auto habits = atHabits(options);
  if (!habits) return habits.error();
  return std::unique_ptr<ServedDevice>(
      std::make_unique<AtAdapter>(world, now_ns, std::move(write), *std::move(habits)));
}

MadeDevice makeKLine(World& world, Ns now_ns, const Options& options, Write write) {
  auto habits = kLineHabits(options);
  if (!habits) return habits.error();
  return std::unique_ptr<ServedDevice>(
      std::make_unique<KLineLead>(world, now_ns, std::move(write), *std::move(habits)));
}

/// What can be served; another device is another line.
struct Maker {
  const char* name;
  bool adapter;     ///< of the bus: there is one interface
  bool instrument;  ///< reads the scenario's meters, and can be had over TCP too
  MadeDevice (*make)(World& world, Ns now_ns, const Options& options, Write write);
};
constexpr Maker kMakers[] = {
    {"slcan", true, false, makeSlcan},
    {"at", true, false, makeAt},
    {"kline", true, false, makeKLine},
    {"scpi", false, true, makeScpi},
};

const Maker* findMaker(std::string_view name) {
  const auto* const it =
      std::find_if(std::begin(kMakers), std::end(kMakers), [&](const Maker& m) { return m.name == name; });
  return it == std::end(kMakers) ? nullptr : it;
}

struct Wanted {
  const Maker* maker = nullptr;
  Options options;
};

/// A device and the descriptor through which its host speaks to it.
class Channel {
 public:
  Channel(asio::io_context& io, int fd) : line_(io, fd) {}

  [[nodiscard]] ServedDevice& device() { return *device_; }
  void setDevice(std::unique_ptr<ServedDevice> device) { device_ = std::move(device); }
  [[nodiscard]] stream_descriptor& line() { return line_; }
  /// The descriptor belongs to somebody else.
  void letGo() { line_.release(); }
  void write(std::string_view text) {
    if (out_.size() + text.size() > kWaitingMost)
      overrun_ = true;
    else
      out_ += text;
  }
  void flush();

 private:
  std::unique_ptr<ServedDevice> device_;
  stream_descriptor line_;
  std::string out_;
  bool writing_ = false;
  bool overrun_ = false;
  std::shared_ptr<bool> alive_ = std::make_shared<bool>(true);
};

void Channel::flush() {
  if (writing_) return;
  while (!out_.empty()) {
    const ssize_t n = ::write(line_.native_handle(), out_.data(), out_.size());
    if (n < 0 && errno == EINTR) continue;
    if (n < 0 && errno != EAGAIN) return out_.clear();  // the reading side notices that the host is gone
    if (n <= 0) {
      writing_ = true;
      line_.async_wait(stream_descriptor::wait_write,
                       [this, alive = std::weak_ptr(alive_)](const boost::system::error_code& ec) {
                         if (alive.expired()) return;
                         writing_ = false;
                         if (!ec) flush();
                       });
      return;
    }
    out_.erase(0, static_cast<std::size_t>(n));
    if (out_.empty() && overrun_) {
      overrun_ = false;
      device_->onOverrun();
    }
  }
}

/// One bench and the devices on it; everything on the thread that calls run().
class Service : private World::Observer {
 public:
  explicit Service(const std::function<void(const Served&)>& ready)
      : ready_(ready), due_(io_), end_(io_), signals_(io_, SIGTERM, SIGINT, SIGHUP) {}
  ~Service() override {
    for (const auto& d : devices_) d->channel->letGo();  // its pty closes it
  }

  Status run(Scenario scenario, const std::vector<Wanted>& wanted, const ServeOptions& options);
  [[nodiscard]] Truth truth() const;

 private:
  using Tcp = asio::ip::tcp;
  /// One device: its pty, and the port that more hosts may come through.
  struct Device {
    Wanted wanted;
    Pty pty;
    std::list<Channel>::iterator channel;
    std::unique_ptr<Tcp::acceptor> acceptor;
  };

  Status addDevice(const Wanted& wanted, const ServeOptions& options);
  Result<std::list<Channel>::iterator> addChannel(const Wanted& wanted, int fd);
  Status listen(Device& device);
  void accept(Device& device);
  void advance();
  void arm();
  void readFrom(std::list<Channel>::iterator channel, bool is_pty);
  void tellReady();
  Status hearOperator(const std::string& file);
  void readOperator();
  Status obey(const std::string& line);

  void onFrame(Ns t_ns, const event::CanFrame& frame, bool outbound) override {
    for (Channel& c : channels_) c.device().onFrame(t_ns, frame, outbound);
  }
  void onSample(Ns t_ns, const event::Measurement& sample) override {
    for (Channel& c : channels_) c.device().onSample(t_ns, sample);
  }
  void onPower(Ns, const event::Power& power) override {
    connected_ = connected_ || power.state != event::PowerState::off;
  }
  void onController(Ns, std::string_view state, int tx_errors) override {
    for (Channel& c : channels_) c.device().onController(state, tx_errors);
  }

  const std::function<void(const Served&)>& ready_;
  asio::io_context io_{1};
  asio::steady_timer due_, end_;
  asio::signal_set signals_;
  stream_descriptor operator_{io_};
  std::string said_;  ///< by the operator, not yet a whole line
  std::unique_ptr<World> world_;
  Ns start_boot_ns_ = 0;
  std::vector<std::unique_ptr<Device>> devices_;
  std::list<Channel> channels_;
  bool connected_ = false;
  bool told_ = false;
  Status state_;
};

Status Service::run(Scenario scenario, const std::vector<Wanted>& wanted, const ServeOptions& options) {
  // Meters cost solving: none are kept that nobody reads, and an instrument is read when its host asks.
  if (std::none_of(wanted.begin(), wanted.end(), [](const Wanted& w) { return w.maker->instrument; }))
    scenario.meters.clear();
  for (Meter& m : scenario.meters) m.when.clear();
  scenario.told = !options.operator_file.empty();
  start_boot_ns_ = bootNow();
  auto world = World::make(scenario, *this, start_boot_ns_);
  if (!world) return world.error();
  world_ = *std::move(world);
  for (const Wanted& w : wanted)
    if (Status added = addDevice(w, options); !added) return added;
  if (scenario.told)
    if (Status heard = hearOperator(options.operator_file); !heard) return heard;
  signals_.async_wait([this](const boost::system::error_code& ec, int) {
    if (!ec) io_.stop();
  });
  if (options.for_s > 0) {
    end_.expires_after(std::chrono::nanoseconds(fromSeconds(options.for_s)));
    end_.async_wait([this](const boost::system::error_code& ec) {
      if (!ec) io_.stop();
    });
  }
  advance();
  io_.run();
  return state_;
}

Truth Service::truth() const {
  Truth t;
  t.switched_on = world_->switchedOn();
  t.starts = world_->starts();
  t.our_frames = world_->attempts(kInterface);
  if (const Asking* asking = world_->readOut(); asking != nullptr) {
    t.read_out = toText(asking->end());
    t.asked = asking->asked();
    t.answered = asking->answered();
  }
  return t;
}

Status Service::hearOperator(const std::string& file) {
  // Open for writing too: a FIFO does not end when one writer goes.
  const int fd = file == "-" ? ::dup(STDIN_FILENO) : ::open(file.c_str(), O_RDWR | O_NONBLOCK | O_CLOEXEC);
  boost::system::error_code fault;
  if (fd >= 0) operator_.assign(fd, fault);  // NOLINT(bugprone-unused-return-value)
  if (fd < 0 || fault)
    return Error{ErrorKind::input,
                 std::string("cannot be read: ") + (fd < 0 ? std::strerror(errno) : fault.message()), file,
                 "make a FIFO (mkfifo), or name - for standard input"};
  readOperator();
  return {};
}

void Service::readOperator() {
  operator_.async_wait(stream_descriptor::wait_read, [this](const boost::system::error_code& ec) {
    if (ec) return;
    std::array<char, 256> in{};
    const ssize_t n = ::read(operator_.native_handle(), in.data(), in.size());
    if (n == 0) return;  // nobody says any more
    if (n > 0) said_.append(in.data(), static_cast<std::size_t>(n));
    for (std::size_t end = 0; (end = said_.find('\n')) != std::string::npos; said_.erase(0, end + 1))
      if (Status obeyed = obey(said_.substr(0, end)); !obeyed) {
        state_ = obeyed;
        return io_.stop();
      }
    readOperator();
  });
}

Status Service::obey(const std::string& line) {
  if (line.empty()) return {};
  const Ns now_ns = bootNow();
  world_->advance(now_ns);
  if (line == "power on" || line == "power off")
    world_->switchFeed(now_ns, line == "power on");
  else if (line == "read-out" && world_->readOut() != nullptr)
    world_->beginReadOut(now_ns);
  else
    return Error{
        ErrorKind::input,
        line == "read-out" ? "the scenario has no other equipment" : "nobody can do '" + line + "' here",
        "--operator", "say power on, power off, or read-out where a [[module]] has read_out"};
  advance();
  return {};
}

Status Service::addDevice(const Wanted& wanted, const ServeOptions& options) {
  auto made = std::make_unique<Device>();
  made->wanted = wanted;
  if (Status opened = made->pty.open(options.directory, wanted.maker->name); !opened) return opened;
  auto channel = addChannel(wanted, made->pty.fd());
  if (!channel) return channel.error();
  made->channel = *channel;
  devices_.push_back(std::move(made));
  readFrom(*channel, true);
  return wanted.maker->instrument ? listen(*devices_.back()) : Status{};
}

Result<std::list<Channel>::iterator> Service::addChannel(const Wanted& wanted, int fd) {
  // Among the others only once its device is there: making it already moves the bench, which tells all of
  // them.
  std::list<Channel> made;
  made.emplace_back(io_, fd);
  const auto at = made.begin();
  auto device = wanted.maker->make(*world_, bootNow(), wanted.options,
                                   [channel = &*at](std::string_view text) { channel->write(text); });
  if (!device) {
    at->letGo();
    return device.error();
  }
  at->setDevice(*std::move(device));
  channels_.splice(channels_.end(), made);
  return at;
}

Status Service::listen(Device& device) {
  boost::system::error_code fault;
  device.acceptor = std::make_unique<Tcp::acceptor>(io_);
  const Tcp::endpoint loopback(asio::ip::address_v4::loopback(), 0);
  device.acceptor->open(loopback.protocol(), fault);
  if (!fault) device.acceptor->bind(loopback, fault);
  if (!fault) device.acceptor->listen(asio::socket_base::max_listen_connections, fault);
  if (fault) return Error{ErrorKind::link, "no TCP port: " + fault.message(), "bench", ""};
  accept(device);
  return {};
}

void Service::accept(Device& device) {
  device.acceptor->async_accept([this, &device](const boost::system::error_code& ec, Tcp::socket socket) {
    if (ec) return;
    boost::system::error_code fault;
    socket.set_option(Tcp::no_delay(true), fault);  // NOLINT(bugprone-unused-return-value)
    socket.native_non_blocking(true, fault);        // NOLINT(bugprone-unused-return-value)
    const int fd = socket.release(fault);
    if (!fault)
      if (const auto channel = addChannel(device.wanted, fd)) readFrom(*channel, false);
    accept(device);
  });
}

/// Lets the bench catch up with the clock.
void Service::advance() {
  const Ns now_ns = bootNow();
  world_->advance(now_ns);
  for (Channel& c : channels_)
    if (const Ns due_ns = c.device().nextDue(); due_ns != kNoTime && due_ns <= now_ns)
      c.device().onTime(now_ns);
  if (connected_ && !told_) tellReady();
  for (Channel& c : channels_) c.flush();
  arm();
}

void Service::tellReady() {
  told_ = true;
  for (const auto& d : devices_) {
    const bool supplied = !d->wanted.maker->adapter || world_->condition().interface_alive;
    const std::uint16_t port = d->acceptor ? d->acceptor->local_endpoint().port() : std::uint16_t{0};
    ready_({d->wanted.maker->name, d->pty.link(), d->pty.name(), supplied, port, start_boot_ns_});
  }
}

void Service::arm() {
  Ns due_ns = world_->nextDue();
  for (Channel& c : channels_)
    if (const Ns its_ns = c.device().nextDue(); its_ns != kNoTime && (due_ns == kNoTime || its_ns < due_ns))
      due_ns = its_ns;
  if (due_ns == kNoTime) return;
  due_.expires_after(std::chrono::nanoseconds(std::max<Ns>(due_ns - bootNow(), 0)));
  due_.async_wait([this](const boost::system::error_code& ec) {
    if (!ec) advance();
  });
}

void Service::readFrom(std::list<Channel>::iterator channel, bool is_pty) {
  channel->line().async_wait(
      stream_descriptor::wait_read, [this, channel, is_pty](const boost::system::error_code& ec) {
        if (ec) return;
        std::array<char, 4096> in{};
        const ssize_t n = ::read(channel->line().native_handle(), in.data(), in.size());
        const bool failed = n == 0 || (n < 0 && errno != EAGAIN && errno != EINTR);
        if (failed && is_pty) {
          state_ = Error{ErrorKind::link, std::string("a pty failed: ") + std::strerror(errno), "bench", ""};
          return io_.stop();
        }
        if (failed) {
          channels_.erase(channel);  // that host is gone
          return;
        }
        if (n > 0) {
          const Ns now_ns = bootNow();
          world_->advance(now_ns);
          channel->device().take(now_ns, {in.data(), static_cast<std::size_t>(n)});
          advance();
        }
        readFrom(channel, is_pty);
      });
}

/// The devices that are asked for, each with its options.
Result<std::vector<Wanted>> parseDevices(const std::vector<std::string>& devices) {
  const auto usage = [](std::string what, std::string advice) {
    return Error{ErrorKind::usage, std::move(what), "--serve", std::move(advice)};
  };
  const std::string known = fmt::format("these can: {}", fmt::join(servable(), ", "));
  std::vector<Wanted> all;
  std::string adapter;
  for (const std::string& text : devices) {
    const std::string name = text.substr(0, text.find('?'));
    Wanted w{findMaker(name), {}};
    if (w.maker == nullptr) return usage(fmt::format("\"{}\" cannot be served", name), known);
    if (std::any_of(all.begin(), all.end(), [&](const Wanted& o) { return o.maker == w.maker; }))
      return usage(fmt::format("\"{}\" is named twice", name), "name it once");
    if (w.maker->adapter && !adapter.empty())
      return usage(fmt::format("{} and {} are two adapters, and the bench has one interface", adapter, name),
                   "serve each from a bench of its own");
    if (w.maker->adapter) adapter = name;
    if (const std::size_t options = text.find('?'); options != std::string::npos) {
      const auto uri = link::parseUri(name + ":bench" + text.substr(options));
      if (!uri) return usage(uri.error().what, fmt::format("write {}?key=value&key=value", name));
      w.options = uri->options;
    }
    all.push_back(std::move(w));
  }
  if (all.empty()) return usage("no device is named", known);
  return all;
}

}  // namespace

std::vector<std::string> servable() {
  std::vector<std::string> names;
  for (const Maker& m : kMakers) names.emplace_back(m.name);
  return names;
}

Result<Truth> serve(const Scenario& scenario, const ServeOptions& options,
                    const std::function<void(const Served&)>& ready) {
  const auto wanted = parseDevices(options.devices);
  if (!wanted) return wanted.error();
  Service service(ready);
  if (Status served = service.run(scenario, *wanted, options); !served) return served.error();
  return service.truth();
}

}  // namespace pin16::bench
