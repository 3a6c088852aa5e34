// SPDX-License-Identifier: Apache-2.0
#include "core/bench/serve.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/signal_set.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cerrno>
#include <csignal>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <optional>

#include "core/base/clock.hpp"
#include "core/bench/serve_slcan.hpp"
#include "core/bench/world.hpp"

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

/// One bench and the devices on it; everything on the thread that calls run().
class Service : private World::Observer {
 public:
  explicit Service(const std::function<void(const Served&)>& ready)
      : ready_(ready), line_(io_), due_(io_), end_(io_), signals_(io_, SIGTERM, SIGINT, SIGHUP) {}
  ~Service() override {
    if (line_.is_open()) line_.release();  // pty_ closes it
  }

  Status run(Scenario scenario, const ServeOptions& options);

 private:
  void advance();
  void arm();
  void readLine();
  void write(std::string_view text);
  void flush();

  void onFrame(Ns t_ns, const event::CanFrame& frame, bool outbound) override {
    if (adapter_) adapter_->onFrame(t_ns, frame, outbound);
  }
  void onSample(Ns, const event::Measurement&) override {}
  void onPower(Ns, const event::Power& power) override {
    connected_ = connected_ || power.state != event::PowerState::off;
  }
  void onController(Ns, std::string_view state, int tx_errors) override {
    if (adapter_) adapter_->onController(state, tx_errors);
  }

  const std::function<void(const Served&)>& ready_;
  asio::io_context io_{1};
  Pty pty_;
  stream_descriptor line_;  // pty_'s descriptor, only lent
  asio::steady_timer due_, end_;
  asio::signal_set signals_;
  std::unique_ptr<World> world_;
  std::optional<SlcanAdapter> adapter_;
  std::array<char, 4096> in_{};
  std::string out_;
  bool writing_ = false;
  bool overrun_ = false;
  bool connected_ = false;
  bool told_ = false;
  Status state_;
};

Status Service::run(Scenario scenario, const ServeOptions& options) {
  scenario.meters.clear();  // no meter is served
  const Ns now = bootNow();
  auto world = World::make(scenario, *this, now);
  if (!world) return world.error();
  world_ = *std::move(world);
  if (Status opened = pty_.open(options.directory, options.devices.front()); !opened) return opened;
  line_.assign(pty_.fd());
  adapter_.emplace(*world_, now, [this](std::string_view text) { write(text); });
  signals_.async_wait([this](const boost::system::error_code& ec, int) {
    if (!ec) io_.stop();
  });
  if (options.for_s > 0) {
    end_.expires_after(
        std::chrono::nanoseconds(static_cast<Ns>(options.for_s * static_cast<double>(kNsPerSecond))));
    end_.async_wait([this](const boost::system::error_code& ec) {
      if (!ec) io_.stop();
    });
  }
  advance();
  readLine();
  io_.run();
  return state_;
}

/// Lets the bench catch up with the clock.
void Service::advance() {
  world_->advance(bootNow());
  if (connected_ && !told_) {
    told_ = true;
    ready_({"slcan", pty_.link(), pty_.name(), world_->condition().interface_alive});
  }
  flush();
  arm();
}

void Service::arm() {
  const Ns due = world_->nextDue();
  if (due == kNoTime) return;
  due_.expires_after(std::chrono::nanoseconds(std::max<Ns>(due - bootNow(), 0)));
  due_.async_wait([this](const boost::system::error_code& ec) {
    if (!ec) advance();
  });
}

void Service::readLine() {
  line_.async_wait(stream_descriptor::wait_read, [this](const boost::system::error_code& ec) {
    if (ec) return;
    const ssize_t n = ::read(pty_.fd(), in_.data(), in_.size());
    if (n < 0 && errno != EAGAIN && errno != EINTR) {
      state_ =
          Error{ErrorKind::link, std::string("the pty failed: ") + std::strerror(errno), pty_.name(), ""};
      io_.stop();
      return;
    }
    if (n > 0) {
      const Ns now = bootNow();
      world_->advance(now);
      adapter_->take(now, {in_.data(), static_cast<std::size_t>(n)});
      advance();
    }
    readLine();
  });
}

void Service::write(std::string_view text) {
  if (out_.size() + text.size() > kWaitingMost)
    overrun_ = true;
  else
    out_ += text;
}

void Service::flush() {
  if (writing_) return;
  while (!out_.empty()) {
    const ssize_t n = ::write(pty_.fd(), out_.data(), out_.size());
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) {
      writing_ = true;
      line_.async_wait(stream_descriptor::wait_write, [this](const boost::system::error_code& ec) {
        writing_ = false;
        if (!ec) flush();
      });
      return;
    }
    out_.erase(0, static_cast<std::size_t>(n));
    if (out_.empty() && overrun_) {
      overrun_ = false;
      adapter_->onOverrun();
    }
  }
}

}  // namespace

std::vector<std::string> servable() { return {"slcan"}; }

Status serve(const Scenario& scenario, const ServeOptions& options,
             const std::function<void(const Served&)>& ready) {
  const auto known = servable();
  for (auto d = options.devices.begin(); d != options.devices.end(); ++d) {
    if (std::find(known.begin(), known.end(), *d) == known.end())
      return Error{ErrorKind::usage, fmt::format("\"{}\" cannot be served (yet)", *d), "--serve",
                   fmt::format("these can: {}", fmt::join(known, ", "))};
    if (std::find(options.devices.begin(), d, *d) != d)
      return Error{ErrorKind::usage, fmt::format("\"{}\" is named twice", *d), "--serve", "name it once"};
  }
  if (options.devices.empty())
    return Error{ErrorKind::usage, "no device is named", "--serve",
                 fmt::format("these can be: {}", fmt::join(known, ", "))};
  return Service(ready).run(scenario, options);
}

}  // namespace pin16::bench
