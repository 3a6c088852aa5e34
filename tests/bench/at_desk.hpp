// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A bus adapter of the bench behind a pty in this process, in real time on an io_context; what the host
/// wrote and what left for the bus is kept.

#include <fcntl.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/steady_timer.hpp>
#include <filesystem>
#include <memory>
#include <optional>
#include <stdexcept>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "core/bench/bench.hpp"
#include "core/bench/serve_at.hpp"
#include "core/bench/world.hpp"

namespace pin16::bench {

template <class Device, class Habits>
class Desk : private World::Observer {
 public:
  /// The bench has been running for `age_s`: 3 = all modules are up.
  Desk(boost::asio::io_context& io, const Scenario& scenario, Habits habits = {}, double age_s = 3)
      : io_(io), line_(io), due_(io) {
    std::string pattern = (std::filesystem::temp_directory_path() / "pin16-at-XXXXXX").string();
    folder_ = ::mkdtemp(pattern.data());
    start_ns = bootNow() - fromSeconds(age_s);
    auto made = World::make(scenario, *this, start_ns);
    if (!made) throw std::runtime_error(made.error().text());
    world = *std::move(made);
    adapter.emplace(
        *world, start_ns, [this](std::string_view text) { toHost(text); }, std::move(habits));
    plug();
    advance();
  }
  ~Desk() override {
    unplug();
    due_.cancel();
    std::error_code ignored;
    std::filesystem::remove_all(folder_, ignored);
  }
  Desk(const Desk&) = delete;
  Desk& operator=(const Desk&) = delete;

  /// A link to the pty; none while unplugged.
  [[nodiscard]] std::string path() const { return folder_ + "/at"; }
  [[nodiscard]] std::string uri(const std::string& options = "protocol=can11-500&answer=7A9") const {
    return "at:" + path() + "?" + options;
  }
  void plug() {
    ours_ = ::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (ours_ < 0 || ::grantpt(ours_) != 0 || ::unlockpt(ours_) != 0) throw std::runtime_error("no pty");
    char name[128];
    if (::ptsname_r(ours_, name, sizeof name) != 0) throw std::runtime_error("ptsname_r");
    // Raw from the start: a host that is not there yet must not have its echo made by the terminal driver.
    theirs_ = ::open(name, O_RDWR | O_NOCTTY | O_CLOEXEC);
    termios raw{};
    ::tcgetattr(theirs_, &raw);
    ::cfmakeraw(&raw);
    ::tcsetattr(theirs_, TCSANOW, &raw);
    std::filesystem::create_symlink(name, path());
    line_.assign(ours_);
    read();
  }
  void unplug() {
    if (ours_ < 0) return;
    std::filesystem::remove(path());
    line_.close();
    ::close(theirs_);
    ours_ = theirs_ = -1;
  }
  /// Bytes to the host that are not the device's.
  void disturb(std::string_view text) { toHost(text); }
  [[nodiscard]] bool plugged() const { return ours_ >= 0; }

  Ns start_ns = 0;  ///< when the scenario began
  std::unique_ptr<World> world;
  std::optional<Device> adapter;
  std::string from_host;                ///< everything that the host wrote
  std::vector<event::CanFrame> on_bus;  ///< frames of the interface that were on the bus

 private:
  void toHost(std::string_view text) {
    if (ours_ >= 0 && ::write(ours_, text.data(), text.size()) < 0) adapter->onOverrun();
  }
  void read() {
    line_.async_wait(boost::asio::posix::stream_descriptor::wait_read,
                     [this, fd = ours_](const boost::system::error_code& ec) {
                       if (ec || fd != ours_) return;
                       char in[4096];
                       const ssize_t n = ::read(ours_, in, sizeof in);
                       if (n > 0) {
                         const std::string_view text(in, static_cast<std::size_t>(n));
                         from_host += text;
                         const Ns now = bootNow();
                         world->advance(now);
                         adapter->take(now, text);
                         advance();
                       }
                       read();
                     });
  }
  void advance() {
    const Ns now = bootNow();
    world->advance(now);
    if (const Ns due = adapter->nextDue(); due != kNoTime && due <= now) adapter->onTime(now);
    Ns due = world->nextDue();
    if (const Ns own = adapter->nextDue(); own != kNoTime) due = due == kNoTime ? own : std::min(due, own);
    if (due == kNoTime) return;
    due_.expires_after(std::chrono::nanoseconds(std::max<Ns>(due - bootNow(), 0)));
    due_.async_wait([this](const boost::system::error_code& ec) {
      if (!ec) advance();
    });
  }
  void onFrame(Ns t_ns, const event::CanFrame& f, bool outbound) override {
    if (outbound) on_bus.push_back(f);
    if (adapter) adapter->onFrame(t_ns, f, outbound);
  }
  void onSample(Ns, const event::Measurement&) override {}
  void onPower(Ns, const event::Power&) override {}
  void onController(Ns, std::string_view state, int tx_errors) override {
    if (adapter) adapter->onController(state, tx_errors);
  }

  boost::asio::io_context& io_;
  boost::asio::posix::stream_descriptor line_;
  boost::asio::steady_timer due_;
  std::string folder_;
  int ours_ = -1, theirs_ = -1;
};
using AtDesk = Desk<AtAdapter, AtHabits>;

/// A desk in a thread of its own, as the device would be one of its own.
template <class OneDesk>
class DeskInThread {
 public:
  template <class Habits>
  DeskInThread(const std::string& scenario, Habits habits, double age_s = 3)
      : desk_(io_, *loadScenario(scenario), std::move(habits), age_s), thread_([this] { io_.run(); }) {}
  ~DeskInThread() { (void)stopped(); }
  /// It stands still from now on, to be looked at.
  const OneDesk& stopped() {
    io_.stop();
    if (thread_.joinable()) thread_.join();
    return desk_;
  }
  DeskInThread(const DeskInThread&) = delete;
  DeskInThread& operator=(const DeskInThread&) = delete;
  [[nodiscard]] std::string path() const { return desk_.path(); }

 private:
  boost::asio::io_context io_;
  OneDesk desk_;
  std::thread thread_;
};

}  // namespace pin16::bench
