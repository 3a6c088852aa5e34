// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A device on a pty behind a link with a fixed name, for tests: scripted by the test, plugged in and out.
/// Runs on the io_context it is given.

#include <fcntl.h>
#include <stdlib.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <stdexcept>
#include <string>
#include <string_view>

namespace pin16::link {

/// A new empty folder, removed at the end.
class TestFolder {
 public:
  TestFolder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "pin16-pty-XXXXXX").string();
    path_ = ::mkdtemp(pattern.data());
  }
  ~TestFolder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  TestFolder(const TestFolder&) = delete;
  TestFolder& operator=(const TestFolder&) = delete;
  [[nodiscard]] std::string file(const char* name) const { return path_ + "/" + name; }

 private:
  std::string path_;
};

class PtyDevice {
 public:
  using Take = std::function<void(std::string_view)>;
  /// `path` is made as a link to the pty.
  PtyDevice(boost::asio::io_context& io, std::string path, Take take = {})
      : take_(std::move(take)), path_(std::move(path)), line_(io) {
    plug();
  }
  ~PtyDevice() { unplug(); }
  PtyDevice(const PtyDevice&) = delete;
  PtyDevice& operator=(const PtyDevice&) = delete;

  void plug() {
    const int ours = ::posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (ours < 0 || ::grantpt(ours) != 0 || ::unlockpt(ours) != 0) throw std::runtime_error("no pty");
    std::array<char, 128> name{};
    ::ptsname_r(ours, name.data(), name.size());
    pty_ = name.data();
    theirs_ = ::open(name.data(), O_RDWR | O_NOCTTY | O_CLOEXEC);
    termios raw{};
    ::tcgetattr(theirs_, &raw);
    ::cfmakeraw(&raw);
    ::tcsetattr(theirs_, TCSANOW, &raw);
    line_.assign(ours);
    std::filesystem::remove(path_);
    std::filesystem::create_symlink(name.data(), path_);
    wait();
  }
  void unplug() {
    std::error_code ignored;
    std::filesystem::remove(path_, ignored);
    if (line_.is_open()) line_.close();
    if (theirs_ >= 0) ::close(theirs_);
    theirs_ = -1;
  }
  /// As far as the pty takes it.
  std::size_t write(std::string_view text) {
    const ssize_t n = line_.is_open() ? ::write(line_.native_handle(), text.data(), text.size()) : -1;
    return n < 0 ? 0 : static_cast<std::size_t>(n);
  }
  /// Stops reading: the host's bytes pile up.
  void hang() { line_.cancel(); }
  [[nodiscard]] const std::string& pty() const { return pty_; }
  [[nodiscard]] const std::string& path() const { return path_; }
  /// All that the host wrote so far.
  std::string heard;

 private:
  void wait() {
    line_.async_wait(boost::asio::posix::stream_descriptor::wait_read,
                     [this](const boost::system::error_code& ec) {
                       if (ec || !line_.is_open()) return;
                       std::array<char, 4096> room{};
                       const ssize_t n = ::read(line_.native_handle(), room.data(), room.size());
                       if (n > 0) {
                         const std::string_view text(room.data(), static_cast<std::size_t>(n));
                         heard += text;
                         if (take_) take_(text);
                       }
                       if (line_.is_open()) wait();
                     });
  }

  Take take_;
  const std::string path_;
  std::string pty_;
  boost::asio::posix::stream_descriptor line_;
  int theirs_ = -1;
};

}  // namespace pin16::link
