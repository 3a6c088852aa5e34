// SPDX-License-Identifier: Apache-2.0
#include "core/base/log.hpp"

#include <spdlog/sinks/stdout_sinks.h>
#include <spdlog/spdlog.h>

#include <cstdlib>
#include <mutex>

namespace pin16 {

std::shared_ptr<spdlog::logger> roomLog(const std::string& room) {
  static std::mutex making;  // only guards creation; spdlog's registry itself is thread safe
  const std::lock_guard lock(making);
  if (auto known = spdlog::get(room)) return known;
  auto made = spdlog::stderr_logger_mt(room);
  const char* level = std::getenv("PIN16_LOG");
  made->set_level(level != nullptr ? spdlog::level::from_str(level) : spdlog::level::warn);
  made->set_pattern("pin16 %n %l: %v");
  return made;
}

}  // namespace pin16
