// SPDX-License-Identifier: Apache-2.0
#pragma once
/// One spdlog logger a room, to stderr, level by PIN16_LOG (trace debug info warn err off; default warn).
/// Include <spdlog/spdlog.h> in the .cpp that logs; headers need only this.

#include <memory>
#include <string>

namespace spdlog {
class logger;
}

namespace pin16 {
/// The room's logger, made at first use; any thread.
std::shared_ptr<spdlog::logger> roomLog(const std::string& room);
}  // namespace pin16
