// SPDX-License-Identifier: Apache-2.0
// A plugin that asks: one request of the gate's list, one that is not on it. What came of both is one
// finding.
#include "pin16/plugin.hpp"

namespace {

class Asking : public pin16::Plugin {
 public:
  static constexpr pin16::Card card{"asking", "1.0", "asks the job's module", pin16::bits(PIN16_FRAME), true};
  static constexpr pin16_counter counters[] = {
      pin16::oneCounter("asked", "questions that the host took"),
      pin16::oneCounter("not-taken", "questions that it did not take")};
  using Plugin::Plugin;

  void onFrame(const pin16::Event&, const pin16_frame&) override {
    if (tried_) return;
    tried_ = true;
    static constexpr std::uint8_t part_number[] = {0x22, 0xF1, 0x87};
    static constexpr std::uint8_t event_record[] = {0x22, 0xFA, 0x13};
    put(1, part_number, sizeof part_number);
    put(2, event_record, sizeof event_record);
  }
  void onAnswered(std::uint64_t tag, const pin16_exchange* exchange, std::string_view refused) override {
    if (tag == 1 && exchange != nullptr)
      said_ += "answered with " + std::to_string(exchange->answer.size) + " bytes; ";
    if (tag == 2 && exchange == nullptr) said_ += "refused: " + std::string(refused);
    if (tag != 2) return;
    pin16::Finding f;
    f.code = "asked";
    f.text = said_;
    f.step = "answer";
    f.weight = PIN16_WARNING;
    find(f);
  }

 private:
  void put(std::uint64_t tag, const std::uint8_t* data, std::size_t size) {
    pin16_request r{};
    r.request_id = static_cast<std::uint32_t>(job().request_id);
    r.answer_id = static_cast<std::uint32_t>(job().answer_id);
    r.payload = {data, size};
    r.tag = tag;
    count(ask(r) ? 0 : 1);
  }
  bool tried_ = false;
  std::string said_;
};

}  // namespace

PIN16_PLUGIN(Asking)
