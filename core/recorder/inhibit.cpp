// SPDX-License-Identifier: Apache-2.0
#include "core/recorder/inhibit.hpp"

#include <fcntl.h>
#include <systemd/sd-bus.h>
#include <unistd.h>

#include <cstring>

namespace pin16::recorder {

SleepLock::~SleepLock() {
  if (fd_ >= 0) ::close(fd_);
}

Result<SleepLock> SleepLock::take() {
  sd_bus* bus = nullptr;
  sd_bus_message* reply = nullptr;
  sd_bus_error fault = SD_BUS_ERROR_NULL;
  int fd = -1;
  int r = sd_bus_open_system(&bus);
  if (r >= 0)
    r = sd_bus_call_method(bus, "org.freedesktop.login1", "/org/freedesktop/login1",
                           "org.freedesktop.login1.Manager", "Inhibit", &fault, &reply, "ssss",
                           "sleep:idle:handle-lid-switch", "pin16", "a recording is running", "block");
  if (r >= 0) r = sd_bus_message_read(reply, "h", &fd);
  SleepLock lock;
  if (r >= 0) lock.fd_ = fcntl(fd, F_DUPFD_CLOEXEC, 3);  // the message owns the original
  const std::string why = fault.message != nullptr ? fault.message : std::strerror(-r);
  sd_bus_error_free(&fault);
  sd_bus_message_unref(reply);
  sd_bus_unref(bus);
  if (r < 0 || lock.fd_ < 0)
    return Error{ErrorKind::record, "suspend could not be inhibited (" + why + ")", "",
                 "switch sleep off by hand and keep the lid open"};
  return lock;
}

}  // namespace pin16::recorder
