// SPDX-License-Identifier: Apache-2.0
#pragma once
/// One serial port: opened, set, read and written asynchronously, watched, and opened again when it comes
/// back.
///
/// A port is opened only because the user named it, never to see what it is; one that another process holds
/// is left alone. Real ports are opened and set by libserialport, pseudo terminals by termios in the same
/// code path. After a loss the same device is looked for by its USB serial number, under whatever name it has
/// now; another device that took over the name is not touched. Everything runs on the io_context's thread.

#include <boost/asio/posix/stream_descriptor.hpp>
#include <boost/asio/steady_timer.hpp>
#include <cstdint>
#include <functional>
#include <memory>
#include <optional>
#include <string>

#include "core/base/clock.hpp"
#include "core/base/hex.hpp"
#include "core/event/records.hpp"
#include "core/link/inventory.hpp"

struct sp_port;

namespace pin16::link {

struct SerialSettings {
  std::uint32_t baud = 115200;  ///< bit/s, also odd ones such as 10400; a pty has none
  bool dtr = true;
  bool rts = true;
};

/// Why a port cannot be used, in the words of LinkState.
struct SerialTrouble {
  event::LinkCondition condition = event::LinkCondition::failed;
  std::string text;
  std::string advice;
};

class SerialLine {
 public:
  /// Callbacks may call close() and write(), not the destructor.
  struct Events {
    std::function<void()> opened;  ///< also after a loss
    std::function<void(Ns t_boot_ns, ByteView)>
        bytes;  ///< as read, cut anywhere; the time is that of the read
    /// Handed to the driver at this time.
    std::function<void(Ns t_boot_ns, ByteView)> written;
    /// It could not be opened, or is lost (`was_open`). The line tries again by itself.
    std::function<void(const SerialTrouble&, bool was_open)> trouble;
  };
  /// Most that may wait to be written: what a device that takes no bytes may cost us.
  static constexpr std::size_t kWaitingMost = 16U << 10;

  SerialLine(boost::asio::io_context& io, std::string path, SerialSettings settings, Events events);
  ~SerialLine();
  SerialLine(const SerialLine&) = delete;
  SerialLine& operator=(const SerialLine&) = delete;

  void open();
  /// No callback after it returns.
  void close();
  [[nodiscard]] bool isOpen() const { return fd_ >= 0; }
  /// Queues bytes; false if the line is not open or too much waits already. A device that takes nothing for 1
  /// s is a trouble (own figure).
  bool write(ByteView bytes);
  /// Closes and opens anew after the usual wait: for a device that no longer makes sense.
  void reopen(const SerialTrouble& why);
  /// The port now in use; a symbolic link is shown as given.
  [[nodiscard]] const std::string& path() const { return path_; }
  /// What the system knows of the port in use; empty text for a pty.
  [[nodiscard]] const SerialEntry& entry() const { return entry_; }
  [[nodiscard]] bool isPty() const { return pty_; }
  /// The open port, for what must happen at exact times (kline_wire.hpp duplicates it); -1 while not open.
  [[nodiscard]] int handle() const { return fd_; }

 private:
  void tryOpen();
  [[nodiscard]] std::optional<SerialTrouble> findPort();
  [[nodiscard]] std::optional<SerialTrouble> openPty();
  [[nodiscard]] std::optional<SerialTrouble> openPort();
  [[nodiscard]] std::optional<SerialTrouble> takeAlone();
  [[nodiscard]] std::optional<SerialTrouble> lendStream();
  [[nodiscard]] SerialTrouble troubleFromErrno(int error) const;
  void retryLater();
  void readable();
  void readSome();
  void flush();
  void lost(const SerialTrouble& why);
  void shut();

  boost::asio::io_context& io_;
  const std::string asked_;  ///< as the user named it
  std::string path_;
  SerialSettings settings_;
  Events events_;
  SerialEntry entry_;
  std::optional<SerialEntry> identity_;  ///< of the first device opened; only if it has a USB serial number
  bool pty_ = false;
  sp_port* port_ = nullptr;
  int fd_ = -1;                                   ///< of port_, or our own
  boost::asio::posix::stream_descriptor stream_;  ///< a duplicate of fd_
  boost::asio::steady_timer retry_, stuck_;
  int tries_ = 0;
  Bytes out_;
  bool writing_ = false;
  bool exclusive_ = false;  ///< the lock is ours
  std::shared_ptr<bool> alive_;
};

/// The processes that hold `device` open, "name (pid)", as far as we may see, else what a lock file says
/// (that of the Filesystem Hierarchy Standard); not our own. Never opens it.
[[nodiscard]] std::vector<std::string> holdersOf(const std::string& device);

/// Why we may not open `device`, with the command that changes it.
[[nodiscard]] SerialTrouble noPermission(const std::string& device);

}  // namespace pin16::link
