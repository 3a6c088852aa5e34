// SPDX-License-Identifier: Apache-2.0
#include "core/can/error_text.hpp"

#include <fmt/format.h>
#include <linux/can/error.h>

#include <array>

namespace pin16::can {
namespace {

constexpr ErrorClass kClasses[] = {
    {CAN_ERR_TX_TIMEOUT, "send-timeout", "the driver gave up sending a frame"},
    {CAN_ERR_LOSTARB, "lost-arbitration", "arbitration lost"},
    {CAN_ERR_CRTL, "controller", "controller"},
    {CAN_ERR_PROT, "protocol", "protocol violation"},
    {CAN_ERR_TRX, "transceiver", "transceiver"},
    {CAN_ERR_ACK, "no-acknowledge", "no other node acknowledged a frame of ours"},
    {CAN_ERR_BUSOFF, "bus-off", "bus-off: the controller has left the bus"},
    {CAN_ERR_BUSERROR, "bus-error", "bus error"},
    {CAN_ERR_RESTARTED, "restarted", "the controller was restarted"},
    {CAN_ERR_CNT, "counters", "error counters"},
};

struct Word {
  std::uint8_t value;
  std::string_view text;
};

constexpr Word kController[] = {
    {CAN_ERR_CRTL_RX_OVERFLOW, "receive buffer overflow, frames are missing"},
    {CAN_ERR_CRTL_TX_OVERFLOW, "send buffer overflow"},
    {CAN_ERR_CRTL_RX_WARNING, "receive errors reached the warning level"},
    {CAN_ERR_CRTL_TX_WARNING, "send errors reached the warning level"},
    {CAN_ERR_CRTL_RX_PASSIVE, "error-passive by receive errors"},
    {CAN_ERR_CRTL_TX_PASSIVE, "error-passive by send errors"},
    {CAN_ERR_CRTL_ACTIVE, "error-active again"},
};

constexpr Word kViolation[] = {
    {CAN_ERR_PROT_BIT, "single bit error"},
    {CAN_ERR_PROT_FORM, "frame format error"},
    {CAN_ERR_PROT_STUFF, "bit stuffing error"},
    {CAN_ERR_PROT_BIT0, "could not send a dominant bit"},
    {CAN_ERR_PROT_BIT1, "could not send a recessive bit"},
    {CAN_ERR_PROT_OVERLOAD, "overload frame"},
    {CAN_ERR_PROT_ACTIVE, "active error flag"},
    {CAN_ERR_PROT_TX, "while sending"},
};

constexpr Word kLocation[] = {
    {CAN_ERR_PROT_LOC_SOF, "at the start of frame"},
    {CAN_ERR_PROT_LOC_ID28_21, "in identifier bits 28-21 (11 bit: 10-3)"},
    {CAN_ERR_PROT_LOC_ID20_18, "in identifier bits 20-18 (11 bit: 2-0)"},
    {CAN_ERR_PROT_LOC_SRTR, "in the substitute remote request bit (11 bit: remote request bit)"},
    {CAN_ERR_PROT_LOC_IDE, "in the identifier extension bit"},
    {CAN_ERR_PROT_LOC_ID17_13, "in identifier bits 17-13"},
    {CAN_ERR_PROT_LOC_ID12_05, "in identifier bits 12-5"},
    {CAN_ERR_PROT_LOC_ID04_00, "in identifier bits 4-0"},
    {CAN_ERR_PROT_LOC_RTR, "in the remote request bit"},
    {CAN_ERR_PROT_LOC_RES1, "in reserved bit 1"},
    {CAN_ERR_PROT_LOC_RES0, "in reserved bit 0"},
    {CAN_ERR_PROT_LOC_DLC, "in the data length code"},
    {CAN_ERR_PROT_LOC_DATA, "in the data"},
    {CAN_ERR_PROT_LOC_CRC_SEQ, "in the CRC sequence"},
    {CAN_ERR_PROT_LOC_CRC_DEL, "in the CRC delimiter"},
    {CAN_ERR_PROT_LOC_ACK, "in the acknowledge slot"},
    {CAN_ERR_PROT_LOC_ACK_DEL, "in the acknowledge delimiter"},
    {CAN_ERR_PROT_LOC_EOF, "in the end of frame"},
    {CAN_ERR_PROT_LOC_INTERM, "in the intermission"},
};

// CANH has the low half of the byte, CANL the high one; each half is a number, not bits.
constexpr Word kHigh[] = {
    {CAN_ERR_TRX_CANH_NO_WIRE, "CAN high is not connected"},
    {CAN_ERR_TRX_CANH_SHORT_TO_BAT, "CAN high is shorted to battery"},
    {CAN_ERR_TRX_CANH_SHORT_TO_VCC, "CAN high is shorted to the transceiver's supply"},
    {CAN_ERR_TRX_CANH_SHORT_TO_GND, "CAN high is shorted to ground"},
};
constexpr Word kLow[] = {
    {CAN_ERR_TRX_CANL_NO_WIRE, "CAN low is not connected"},
    {CAN_ERR_TRX_CANL_SHORT_TO_BAT, "CAN low is shorted to battery"},
    {CAN_ERR_TRX_CANL_SHORT_TO_VCC, "CAN low is shorted to the transceiver's supply"},
    {CAN_ERR_TRX_CANL_SHORT_TO_GND, "CAN low is shorted to ground"},
    {CAN_ERR_TRX_CANL_SHORT_TO_CANH, "CAN low is shorted to CAN high"},
};
constexpr std::uint8_t kHighHalf = 0x0F;
constexpr std::uint8_t kLowHalf = 0xF0;

using Words = std::span<const Word>;

std::string joined(std::string text, std::string_view more) {
  if (more.empty()) return text;
  return text.empty() ? std::string(more) : fmt::format("{}, {}", text, more);
}

std::string bitsText(Words words, std::uint8_t bits) {
  std::string out;
  for (const Word& w : words) {
    if ((bits & w.value) == 0) continue;
    out = joined(std::move(out), w.text);
    bits = static_cast<std::uint8_t>(bits & ~w.value);
  }
  return bits == 0 ? out : joined(std::move(out), fmt::format("unknown bits {:#04x}", bits));
}

std::string valueText(Words words, std::uint8_t value, std::string_view what) {
  if (value == 0) return {};
  for (const Word& w : words)
    if (w.value == value) return std::string(w.text);
  return fmt::format("unknown {} {:#04x}", what, value);
}

std::string transceiverText(std::uint8_t status) {
  return joined(valueText(kHigh, status & kHighHalf, "status of CAN high"),
                valueText(kLow, status & kLowHalf, "status of CAN low"));
}

/// What the data bytes add to a class. 0 in all of them is the header's "unspecified".
std::string detail(std::uint32_t bit, const std::array<std::uint8_t, event::kFdDataMax>& d) {
  const auto unspecified = [](const std::string& text) { return text.empty() ? "unspecified" : text; };
  switch (bit) {
    case CAN_ERR_LOSTARB:
      return d[0] == CAN_ERR_LOSTARB_UNSPEC ? "bit unspecified" : fmt::format("in bit {}", d[0]);
    case CAN_ERR_CRTL:
      return unspecified(bitsText(kController, d[1]));
    case CAN_ERR_PROT:
      return joined(unspecified(bitsText(kViolation, d[2])), valueText(kLocation, d[3], "location"));
    case CAN_ERR_TRX:
      return unspecified(transceiverText(d[4]));
    case CAN_ERR_CNT:
      return fmt::format("tx {} ({}) rx {} ({})", d[6], stateOfCounter(d[6]), d[7], stateOfCounter(d[7]));
    default:
      return {};
  }
}

}  // namespace

std::span<const ErrorClass> errorClasses() { return kClasses; }

std::string errorText(const event::CanFrame& frame) {
  if (!frame.error()) return {};
  std::string out;
  std::uint32_t left = frame.id();
  const auto part = [&out](const std::string& text) { out += (out.empty() ? "" : "; ") + text; };
  for (const ErrorClass& c : kClasses) {
    if ((left & c.bit) == 0) continue;
    const std::string more = detail(c.bit, frame.data);
    part(more.empty() ? std::string(c.text) : fmt::format("{}: {}", c.text, more));
    left &= ~c.bit;
  }
  if (left != 0) part(fmt::format("unknown class {:#x}", left));
  return out.empty() ? "error without a class" : out;
}

std::string_view stateOfCounter(std::uint32_t counter) {
  if (counter >= CAN_BUS_OFF_THRESHOLD) return "bus-off";
  if (counter >= CAN_ERROR_PASSIVE_THRESHOLD) return "error-passive";
  if (counter >= CAN_ERROR_WARNING_THRESHOLD) return "error-warning";
  return "error-active";
}

}  // namespace pin16::can
