// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The bench's modules on a line medium (K-line, J1850): who is addressed, and what is answered in which
/// messages. Formats: SAE J1979, ISO 14230-2, ISO 9141-2, made here on their own: no code of the links is
/// used beyond the check byte. Pure functions, any thread.
///
/// Addresses (own rule): 29 bit 18DAF1xx: xx. 7E8 to 7EF: 10 to 17. Others: the low byte of the answer
/// identifier. Answers are those of the scenario; `22 F190` is also had as `1A 90`, because KWP has no F190.

#include <cstdint>
#include <vector>

#include "core/bench/world.hpp"
#include "core/event/records.hpp"

namespace pin16::bench {

/// To all legislated modules: on ISO 14230, and as the address of an initialisation at 5 baud.
inline constexpr std::uint8_t kEverybody = 0x33;

[[nodiscard]] std::uint8_t kLineAddress(const Module& module);
/// Running modules that have this address, or with kEverybody the legislated ones (functional).
[[nodiscard]] std::vector<std::size_t> modulesAt(const World& world, std::uint8_t address);
/// An answer in the form of CAN as the messages of a line medium (SAE J1979: three codes a message, filled
/// up; four numbered bytes of service 09 a message, text filled up in front).
[[nodiscard]] std::vector<Bytes> lineAnswers(const Bytes& can_answer);
/// Data of the messages that `module` answers to `asked`; empty: it keeps silent. `whole`: ISO 14230, a long
/// answer in one message.
[[nodiscard]] std::vector<Bytes> lineAnswersOf(const Module& module, const Bytes& asked, bool functional,
                                               event::Medium medium, bool whole);
/// A message of the module with this address to the tester.
[[nodiscard]] event::Line moduleLine(event::Medium medium, std::uint8_t source, Bytes data);

}  // namespace pin16::bench
