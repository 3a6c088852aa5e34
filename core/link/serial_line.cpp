// SPDX-License-Identifier: Apache-2.0
#include "core/link/serial_line.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <fmt/ranges.h>
#include <grp.h>
#include <libserialport.h>
#include <sys/file.h>
#include <sys/ioctl.h>
#include <sys/stat.h>
#include <sys/sysmacros.h>
#include <termios.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <filesystem>
#include <fstream>

namespace pin16::link {
namespace {

namespace asio = boost::asio;
namespace fs = std::filesystem;
using asio::posix::stream_descriptor;
using std::chrono::milliseconds;

constexpr milliseconds kRetryFirst{250};
constexpr milliseconds kRetryMost{2000};
constexpr milliseconds kStuck{1000};
// Majors of /dev/pts: Documentation/admin-guide/devices.txt of the kernel.
constexpr unsigned kPtyMajorFirst = 136, kPtyMajorLast = 143;

bool isPtyDevice(const struct stat& s) {
  return S_ISCHR(s.st_mode) && major(s.st_rdev) >= kPtyMajorFirst && major(s.st_rdev) <= kPtyMajorLast;
}

std::string groupOf(const std::string& device) {
  struct stat s {};
  if (::stat(device.c_str(), &s) != 0) return "dialout";
  std::array<char, 1024> room{};
  group g{};
  group* found = nullptr;
  getgrgid_r(s.st_gid, &g, room.data(), room.size(), &found);
  return found != nullptr ? found->gr_name : std::to_string(s.st_gid);
}

/// A lock file of the Filesystem Hierarchy Standard (5.9): the holder's process number as text.
std::string lockHolder(const std::string& device) {
  std::error_code ec;
  const std::string name = fs::canonical(device, ec).filename();
  for (const char* folder : {"/run/lock", "/var/lock"}) {
    std::ifstream in(fmt::format("{}/LCK..{}", folder, name));
    long pid = 0;
    if (in >> pid && pid > 0 && fs::exists(fmt::format("/proc/{}", pid)))
      return fmt::format("process {} (it left a lock file)", pid);
  }
  return {};
}

/// A process's folder of open files; it may end while we look.
bool holds(const fs::path& folder, dev_t device) {
  std::error_code ec;
  for (fs::directory_iterator f(folder, ec), end; !ec && f != end; f.increment(ec)) {
    struct stat s {};
    // Follows the link to the open file itself: nothing is opened by that.
    if (::stat(f->path().c_str(), &s) == 0 && S_ISCHR(s.st_mode) && s.st_rdev == device) return true;
  }
  return false;
}

bool sameDevice(const SerialEntry& a, const SerialEntry& b) {
  return a.serial == b.serial && a.vendor == b.vendor && a.product == b.product;
}

}  // namespace

std::vector<std::string> holdersOf(const std::string& device) {
  std::vector<std::string> all;
  struct stat wanted {};
  if (::stat(device.c_str(), &wanted) != 0) return all;
  std::error_code ec;
  for (fs::directory_iterator p("/proc", ec), end; !ec && p != end; p.increment(ec)) {
    const std::string pid = p->path().filename();
    if (pid.find_first_not_of("0123456789") != std::string::npos || pid == std::to_string(::getpid()))
      continue;
    if (!holds(p->path() / "fd", wanted.st_rdev)) continue;
    std::ifstream comm(p->path() / "comm");
    std::string name;
    std::getline(comm, name);
    all.push_back(fmt::format("{} ({})", name, pid));
  }
  if (const std::string by_lock = lockHolder(device); all.empty() && !by_lock.empty()) all.push_back(by_lock);
  return all;
}

SerialTrouble noPermission(const std::string& device) {
  const std::string group = groupOf(device);
  return {event::LinkCondition::forbidden,
          fmt::format("no permission to open {}: it belongs to group {}", device, group),
          fmt::format("sudo usermod -aG {} $USER, then log in again", group)};
}

SerialLine::SerialLine(asio::io_context& io, std::string path, SerialSettings settings, Events events)
    : io_(io),
      asked_(std::move(path)),
      path_(asked_),
      settings_(settings),
      events_(std::move(events)),
      stream_(io),
      retry_(io),
      stuck_(io) {}

SerialLine::~SerialLine() { close(); }

void SerialLine::open() {
  if (alive_) return;
  alive_ = std::make_shared<bool>(true);
  tryOpen();
}

void SerialLine::close() {
  alive_.reset();
  retry_.cancel();
  shut();
}

void SerialLine::shut() {
  stuck_.cancel();
  out_.clear();
  writing_ = false;
  boost::system::error_code ignored;
  if (stream_.is_open()) stream_.close(ignored);  // NOLINT(bugprone-unused-return-value)
  if (exclusive_) {
    ::ioctl(fd_, TIOCNXCL);  // a pty outlives us
    ::flock(fd_, LOCK_UN);
  }
  exclusive_ = false;
  if (port_ != nullptr) {
    sp_close(port_);
    sp_free_port(port_);
    port_ = nullptr;
  } else if (fd_ >= 0) {
    ::close(fd_);
  }
  fd_ = -1;
}

void SerialLine::retryLater() {
  retry_.expires_after(std::min(kRetryFirst * (1 << std::min(tries_, 3)), kRetryMost));
  ++tries_;
  retry_.async_wait([this, alive = std::weak_ptr(alive_)](const boost::system::error_code& ec) {
    if (!ec && !alive.expired()) tryOpen();
  });
}

void SerialLine::tryOpen() {
  auto trouble = findPort();
  if (!trouble) trouble = pty_ ? openPty() : openPort();
  if (!trouble) trouble = lendStream();
  const std::weak_ptr alive(alive_);
  if (trouble) {
    shut();
    events_.trouble(*trouble, false);
    if (!alive.expired()) retryLater();
    return;
  }
  if (!pty_ && !identity_ && !entry_.serial.empty()) identity_ = entry_;
  tries_ = 0;
  readable();
  events_.opened();
}

std::optional<SerialTrouble> SerialLine::lendStream() {
  const int twin = ::fcntl(fd_, F_DUPFD_CLOEXEC, 0);
  if (twin < 0) return troubleFromErrno(errno);
  boost::system::error_code ec;
  stream_.assign(twin, ec);  // NOLINT(bugprone-unused-return-value)
  if (!ec) return std::nullopt;
  ::close(twin);
  return troubleFromErrno(ec.value());
}

/// Where the device is now; opens nothing.
std::optional<SerialTrouble> SerialLine::findPort() {
  struct stat s {};
  const bool there = ::stat(asked_.c_str(), &s) == 0;
  pty_ = there && isPtyDevice(s);
  path_ = asked_;
  entry_ = {};
  if (pty_) return std::nullopt;
  if (there && !S_ISCHR(s.st_mode))
    return SerialTrouble{event::LinkCondition::failed, asked_ + " is no serial port",
                         "`pin16 links` lists the ports that are plugged in"};
  std::error_code ec;
  const std::string device = there ? fs::canonical(asked_, ec).string() : asked_;
  const auto ports = findSerialPorts();
  const auto named =
      std::find_if(ports.begin(), ports.end(), [&](const auto& p) { return p.device == device; });
  if (!identity_) {
    if (named != ports.end()) entry_ = *named;
  } else if (named != ports.end() && sameDevice(*named, *identity_)) {
    entry_ = *named;
  } else {
    const auto moved =
        std::find_if(ports.begin(), ports.end(), [&](const auto& p) { return sameDevice(p, *identity_); });
    if (moved != ports.end()) {
      entry_ = *moved;
      path_ = moved->device;
      return std::nullopt;
    }
    if (named != ports.end())
      return SerialTrouble{event::LinkCondition::gone,
                           fmt::format("another device is at {} now; it is left alone", device),
                           "plug the device of this run in again, into any socket"};
  }
  if (there) return std::nullopt;
  if (identity_)
    return SerialTrouble{event::LinkCondition::gone, fmt::format("{} is unplugged", asked_),
                         "plug it in again, into any socket; the run goes on"};
  return SerialTrouble{event::LinkCondition::missing, fmt::format("there is no {}", asked_),
                       "plug the device in; `pin16 links` lists the ports that are there"};
}

SerialTrouble SerialLine::troubleFromErrno(int error) const {
  using event::LinkCondition;
  switch (error) {
    case EACCES:
    case EPERM:
      return noPermission(path_);
    case EBUSY:
      return {LinkCondition::failed, fmt::format("{} is in use by another program", path_),
              "if it is the other equipment's interface, leave it alone; else end that program"};
    case ENOENT:
    case ENODEV:
    case ENXIO:
      return {LinkCondition::gone, fmt::format("{} vanished while it was opened", path_), "plug it in again"};
    default:
      return {LinkCondition::failed, fmt::format("{} cannot be opened: {}", path_, std::strerror(error)),
              "`pin16 links` lists the ports that are there"};
  }
}

/// Against a second program, ours by the lock and others by the driver.
std::optional<SerialTrouble> SerialLine::takeAlone() {
  if (::flock(fd_, LOCK_EX | LOCK_NB) != 0) return troubleFromErrno(EBUSY);
  exclusive_ = true;
  ::ioctl(fd_, TIOCEXCL);
  ::tcflush(fd_, TCIFLUSH);  // from before we were there
  return std::nullopt;
}

std::optional<SerialTrouble> SerialLine::openPty() {
  fd_ = ::open(path_.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (fd_ < 0) return troubleFromErrno(errno);
  if (auto busy = takeAlone()) return busy;
  termios raw{};
  if (::tcgetattr(fd_, &raw) != 0) return troubleFromErrno(errno);
  ::cfmakeraw(&raw);
  raw.c_cc[VMIN] = 1;
  raw.c_cc[VTIME] = 0;
  if (::tcsetattr(fd_, TCSANOW, &raw) != 0) return troubleFromErrno(errno);
  return std::nullopt;
}

std::optional<SerialTrouble> SerialLine::openPort() {
  // Before opening: opening alone may reset a device or drop its modem lines.
  if (const auto holders = holdersOf(path_); !holders.empty()) {
    SerialTrouble busy = troubleFromErrno(EBUSY);
    busy.text = fmt::format("{} is held by {}; it was not opened", path_, fmt::join(holders, ", "));
    return busy;
  }
  // Only a failure of the system leaves its error number.
  const auto failed = [this](sp_return how) {
    return troubleFromErrno(how == SP_ERR_FAIL ? sp_last_error_code() : EIO);
  };
  std::error_code ec;
  const std::string device = fs::canonical(path_, ec);  // the library knows no links, as in /dev/serial/by-id
  if (const sp_return how = sp_get_port_by_name(device.c_str(), &port_); how != SP_OK) {
    port_ = nullptr;
    return failed(how);
  }
  if (const sp_return how = sp_open(port_, SP_MODE_READ_WRITE); how != SP_OK) {
    const auto trouble = failed(how);
    sp_free_port(port_);
    port_ = nullptr;
    return trouble;
  }
  sp_get_port_handle(port_, &fd_);
  if (auto busy = takeAlone()) return busy;
  // libserialport leaves VMIN at 0: a read of nothing would look like the end of the file. Before an
  // odd rate is set, which plain termios cannot hold.
  termios now{};
  if (::tcgetattr(fd_, &now) == 0) {
    now.c_cc[VMIN] = 1;
    ::tcsetattr(fd_, TCSANOW, &now);
  }
  if (sp_set_bits(port_, 8) != SP_OK || sp_set_parity(port_, SP_PARITY_NONE) != SP_OK ||
      sp_set_stopbits(port_, 1) != SP_OK || sp_set_flowcontrol(port_, SP_FLOWCONTROL_NONE) != SP_OK)
    return failed(SP_ERR_FAIL);
  if (sp_set_baudrate(port_, static_cast<int>(settings_.baud)) != SP_OK)
    return SerialTrouble{event::LinkCondition::failed,
                         fmt::format("the driver of {} refuses {} bit/s", path_, settings_.baud),
                         "name a rate that the device knows, as in ?baud=115200"};
  sp_set_dtr(port_, settings_.dtr ? SP_DTR_ON : SP_DTR_OFF);
  sp_set_rts(port_, settings_.rts ? SP_RTS_ON : SP_RTS_OFF);
  return std::nullopt;
}

void SerialLine::readable() {
  stream_.async_wait(stream_descriptor::wait_read,
                     [this, alive = std::weak_ptr(alive_)](const boost::system::error_code& ec) {
                       // Lost, and maybe opened anew, since the handler was queued.
                       if (ec || alive.expired() || !stream_.is_open()) return;
                       readSome();
                     });
}

void SerialLine::readSome() {
  std::array<std::uint8_t, 4096> room{};
  const ssize_t n = ::read(fd_, room.data(), room.size());
  const Ns now_ns = bootNow();
  if (n < 0 && (errno == EAGAIN || errno == EINTR)) return readable();
  if (n <= 0) {
    const std::string why = n == 0 ? "end of file" : std::strerror(errno);
    return lost({event::LinkCondition::gone,
                 fmt::format("{} went away ({}): unplugged, or without supply", path_, why),
                 "plug it in again, into any socket; the run goes on"});
  }
  const std::weak_ptr alive(alive_);
  events_.bytes(now_ns, {room.data(), static_cast<std::size_t>(n)});
  if (!alive.expired() && stream_.is_open()) readable();
}

void SerialLine::lost(const SerialTrouble& why) {
  const std::weak_ptr alive(alive_);
  shut();
  events_.trouble(why, true);
  if (alive.expired()) return;
  tries_ = 0;
  retryLater();
}

void SerialLine::reopen(const SerialTrouble& why) {
  if (isOpen()) lost(why);
}

bool SerialLine::write(ByteView bytes) {
  if (!isOpen() || out_.size() + bytes.size() > kWaitingMost) return false;
  out_.insert(out_.end(), bytes.begin(), bytes.end());
  if (!writing_) flush();
  return isOpen();
}

void SerialLine::flush() {
  while (!out_.empty()) {
    const ssize_t n = ::write(fd_, out_.data(), out_.size());
    const Ns now_ns = bootNow();
    if (n < 0 && errno == EINTR) continue;
    if (n < 0 && errno != EAGAIN)
      return lost({event::LinkCondition::gone,
                   fmt::format("{} took no bytes: {}", path_, std::strerror(errno)),
                   "plug it in again, into any socket; the run goes on"});
    if (n <= 0) break;
    const Bytes gone(out_.begin(), out_.begin() + n);
    out_.erase(out_.begin(), out_.begin() + n);
    stuck_.cancel();
    if (events_.written) events_.written(now_ns, gone);
  }
  writing_ = !out_.empty();
  if (!writing_) return;
  const std::weak_ptr alive(alive_);
  stuck_.expires_after(kStuck);
  stuck_.async_wait([this, alive](const boost::system::error_code& ec) {
    // Bytes may have left after the handler was queued.
    if (!ec && !alive.expired() && writing_ && stuck_.expiry() <= std::chrono::steady_clock::now())
      lost({event::LinkCondition::failed, fmt::format("{} takes no bytes: the device hangs", path_),
            "unplug it and plug it in again"});
  });
  stream_.async_wait(stream_descriptor::wait_write, [this, alive](const boost::system::error_code& ec) {
    if (!ec && !alive.expired() && isOpen()) flush();
  });
}

}  // namespace pin16::link
