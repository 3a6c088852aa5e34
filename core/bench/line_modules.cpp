// SPDX-License-Identifier: Apache-2.0
#include "core/bench/line_modules.hpp"

#include <algorithm>
#include <utility>

#include "core/bench/server.hpp"

namespace pin16::bench {

using event::Medium;

std::uint8_t kLineAddress(const Module& m) {
  if (!m.extended && m.answer_id >= 0x7E8 && m.answer_id <= 0x7EF)
    return static_cast<std::uint8_t>(0x10 + m.answer_id - 0x7E8);
  return static_cast<std::uint8_t>(m.answer_id);
}

std::vector<std::size_t> modulesAt(const World& world, std::uint8_t address) {
  std::vector<std::size_t> out;
  const auto& modules = world.scenario().modules;
  for (std::size_t i = 0; i < modules.size(); ++i) {
    const Module& m = modules[i];
    const bool server = m.request_id != 0 && !m.read_out && !m.mute;
    if (!server || world.condition().modules[i] != ModuleState::running) continue;
    if (address == kEverybody ? m.functional : kLineAddress(m) == address) out.push_back(i);
  }
  return out;
}

std::vector<Bytes> lineAnswers(const Bytes& answer) {
  constexpr std::size_t kPerMessage = 6, kItem = 4;
  const auto part = [](Bytes head, const Bytes& data, std::size_t at, std::size_t size) {
    for (std::size_t i = at; i < at + size; ++i) head.push_back(i < data.size() ? data[i] : 0);
    return head;
  };
  std::vector<Bytes> out;
  if (answer[0] == 0x43 || answer[0] == 0x47 || answer[0] == 0x4A) {
    const Bytes codes(
        answer.begin() + std::min<std::ptrdiff_t>(2, static_cast<std::ptrdiff_t>(answer.size())),
        answer.end());
    std::size_t at = 0;
    do out.push_back(part({answer[0]}, codes, at, kPerMessage));
    while ((at += kPerMessage) < codes.size());
  } else if (answer[0] == 0x49 && answer.size() > 3 && answer[1] % 2 == 0) {
    const std::uint8_t infotype = answer[1];
    Bytes data(answer.begin() + (infotype == 0 ? 2 : 3), answer.end());
    data.insert(data.begin(), (kItem - data.size() % kItem) % kItem, 0);
    for (std::size_t at = 0; at < data.size(); at += kItem)
      out.push_back(part({0x49, infotype, static_cast<std::uint8_t>(at / kItem + 1)}, data, at, kItem));
  } else {
    out.push_back(answer);
  }
  return out;
}

std::vector<Bytes> lineAnswersOf(const Module& module, const Bytes& asked, bool functional, Medium medium,
                                 bool whole) {
  const bool identification = asked.size() == 2 && asked[0] == 0x1A && asked[1] == 0x90;
  Bytes said = answerOf(module, identification ? Bytes{0x22, 0xF1, 0x90} : asked, functional);
  if (said.empty()) return {};
  if (identification && said[0] == 0x62) {
    said.erase(said.begin(), said.begin() + 3);
    said.insert(said.begin(), {0x5A, 0x90});
  } else if (identification) {
    said[1] = 0x1A;  // the service that is refused
  }
  if (medium == Medium::iso14230_4 && (whole || said[0] == 0x5A)) return {said};
  return lineAnswers(said);
}

event::Line moduleLine(Medium medium, std::uint8_t source, Bytes data) {
  constexpr std::uint8_t kTester = 0xF1;
  event::Line out;
  out.medium = medium;
  if (medium == Medium::iso14230_4)
    out.header = {static_cast<std::uint8_t>(0x80 + data.size()), kTester, source};
  else
    out.header = {static_cast<std::uint8_t>(medium == Medium::j1850_pwm ? 0x41 : 0x48), 0x6B, source};
  out.data = std::move(data);
  return out;
}

}  // namespace pin16::bench
