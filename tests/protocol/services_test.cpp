// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/services.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cstdio>
#include <map>
#include <string>

#include "tests/protocol/csv.hpp"
#include "tests/protocol/world.hpp"

namespace pin16::protocol {
namespace {

std::string answer(const char* request, const char* text) { return describeAnswer(hex(request), hex(text)); }

// ---- names

std::map<unsigned, std::string> scapyNames(const std::string& table) {
  const std::string command =
      "/usr/bin/python3 -c \"\nimport logging; logging.disable(50)\nfrom scapy.main import load_contrib\n"
      "load_contrib('automotive.uds')\nfrom scapy.contrib.automotive.uds import UDS_NR, UDS, UDS_RDBI\n"
      "for k, v in " +
      table + ".items(): print('%d %s' % (k, v))\n\" 2>/dev/null";
  std::map<unsigned, std::string> out;
  FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) return out;
  std::array<char, 512> line{};
  while (std::fgets(line.data(), line.size(), pipe) != nullptr) {
    std::string text = line.data();
    text.pop_back();
    const auto blank = text.find(' ');
    out[static_cast<unsigned>(std::stoul(text))] = text.substr(blank + 1);
  }
  EXPECT_EQ(pclose(pipe), 0);
  return out;
}

TEST(Names, NegativeResponseCodesAsInScapy) {
  const auto theirs = scapyNames("UDS_NR.negativeResponseCodes");
  ASSERT_GE(theirs.size(), 40U);
  for (const auto& [code, name] : theirs) {
    // positive response, never on the bus; and ranges that scapy lists by their first code
    if (code == 0 || name == "ISOSAEReserved") continue;
    const std::string ours = bare(nrcName(static_cast<std::uint8_t>(code)));
    EXPECT_EQ(ours, bare(name)) << std::hex << code;
  }
}
TEST(Names, UdsServicesAsInScapy) {
  const auto theirs = scapyNames("UDS.services");
  ASSERT_GE(theirs.size(), 40U);
  for (const auto& [code, name] : theirs) {
    const auto ours = serviceName(static_cast<std::uint8_t>(code));
    if (ours.empty() || code == 0x2A) continue;  // 2A: Wireshark and ISO say ...By..., scapy leaves it out
    EXPECT_EQ(bare(ours), bare(name)) << std::hex << code;
  }
}
TEST(Names, ServicesAsInTheTable) {  // data/uds_names.csv: scapy uds.py and kwp.py, Wireshark packet-uds.c
  int checked = 0;
  for (const CsvRow& row : csvRows("uds_names.csv", 150)) {
    const auto code = static_cast<std::uint8_t>(std::stoul(row.at("code"), nullptr, 16));
    if (row.at("group") == "service") {
      const bool kwp = row.at("name").find("KWP2000") != std::string::npos;
      const std::string ours(kwp ? kwpServiceName(code) : serviceName(code));
      EXPECT_EQ(ours.substr(0, ours.find(' ')), row.at("name").substr(0, row.at("name").find(' ')));
      ++checked;
    } else if (row.at("group") == "0x19 sub-function" && !readDtcName(code).empty()) {
      EXPECT_EQ(readDtcName(code), row.at("name"));
      ++checked;
    } else if (row.at("group") == "0x10 sub-function") {
      EXPECT_EQ(sessionName(code), row.at("name"));
      ++checked;
    }
  }
  EXPECT_EQ(checked, 37 + 3 + 4);
}
TEST(Names, ObdServicesAndInfotypesAsInTheTable) {  // data/obd_services.csv: scapy, Wireshark packet-obd-ii.c
  int checked = 0;
  for (const CsvRow& row : csvRows("obd_services.csv", 162)) {
    const bool service = row.at("group") == "service";
    if (!service && (row.at("group") != "service 09 infotype" || row.at("confidence") != "read")) continue;
    const auto code = static_cast<std::uint8_t>(std::stoul(row.at("code"), nullptr, 16));
    EXPECT_EQ(service ? serviceName(code) : infotypeName(code), row.at("name"));
    ++checked;
  }
  EXPECT_EQ(checked, 10 + 12);
}
TEST(Names, ReservedAndMakersCodesHaveNone) {  // ISO 14229-1:2013 Annex A Table A.1
  for (const int code : {0x01, 0x15, 0x23, 0x32, 0x74, 0x80, 0xF0, 0xFF})
    EXPECT_EQ(nrcName(static_cast<std::uint8_t>(code)), "") << code;
}
TEST(Names, EveryIdentifierOfTheGatesListHasOne) {  // ISO 14229-1 Annex C Table C.1
  for (unsigned did = 0xF180; did <= 0xF19F; ++did)
    EXPECT_NE(didName(static_cast<std::uint16_t>(did)), "") << did;
  EXPECT_EQ(didName(0xF190), "VIN");
  EXPECT_EQ(didName(0xF18C), "ECUSerialNumber");
}

// ---- which answer belongs to which request

TEST(AnswerKind, PositiveNegativePending) {
  EXPECT_EQ(answerKind(hex("22 F1 90"), hex("62 F1 90 31")), AnswerKind::positive);
  EXPECT_EQ(answerKind(hex("22 F1 90"), hex("7F 22 31")), AnswerKind::negative);
  EXPECT_EQ(answerKind(hex("22 F1 90"), hex("7F 22 78")), AnswerKind::pending);
}
TEST(AnswerKind, AnotherIdentifierServiceOrSubFunctionIsNotOurs) {
  EXPECT_EQ(answerKind(hex("22 F1 90"), hex("62 F1 8C 31")), AnswerKind::none);
  EXPECT_EQ(answerKind(hex("22 F1 90"), hex("7F 19 31")), AnswerKind::none);
  EXPECT_EQ(answerKind(hex("22 F1 90"), hex("62")), AnswerKind::none);
  EXPECT_EQ(answerKind(hex("19 02 FF"), hex("59 01 FF")), AnswerKind::none);
  EXPECT_EQ(answerKind(hex("09 02"), hex("49 04 01")), AnswerKind::none);
  EXPECT_EQ(answerKind(hex("01 0C"), hex("41 0D 00")), AnswerKind::none);
  EXPECT_EQ(answerKind(hex("01 0C"), {}), AnswerKind::none);
}
TEST(AnswerKind, SeveralPidsAnyMayComeFirst) {
  EXPECT_EQ(answerKind(hex("01 0C 0D"), hex("41 0D 00")), AnswerKind::positive);
  EXPECT_EQ(answerKind(hex("02 0C 00"), hex("42 0C 00 1A F8")), AnswerKind::positive);
}

// ---- in words. What answers say: decoded_test.cpp, pids_test.cpp.

TEST(Describe, Answers) {
  EXPECT_EQ(answer("01 05 0D 42", "41 05 7B 0D 00 42 31 38"),
            "engine coolant temperature 83 degC, vehicle speed 0 km/h, control module voltage 12.6 V");
  EXPECT_EQ(answer("01 00", "41 00 BE 3F A8 13"),  // worked by hand, top bit = PID 01
            "supported PIDs: 01 03 04 05 06 07 0B 0C 0D 0E 0F 10 11 13 15 1C 1F 20");
  EXPECT_EQ(answer("22 F1 90", "62 F1 90 31 31 31 31 31 31 31 31 32 31 31 31 31 31 31 31 31"),
            "VIN 11111111211111111 (check digit wrong, 1 expected; it is mandatory in North America only)");
}
TEST(Describe, Requests) {
  EXPECT_EQ(describeRequest(hex("22 F1 90")), "22 f1 90: ReadDataByIdentifier, F190 VIN");
  EXPECT_EQ(describeRequest(hex("09 02")), "09 02: vehicle information, VIN");
  EXPECT_EQ(describeRequest(hex("01 0C A6")),
            "01 0c a6: request current powertrain diagnostic data, PID 0C engine speed, PID A6");
  EXPECT_EQ(describeRequest(hex("02 0C 01")),
            "02 0c 01: request powertrain freeze frame data, PID 0C engine speed in freeze frame 1");
  EXPECT_EQ(describeRequest(hex("06 21")),
            "06 21: on-board monitoring test results, MID 21 catalyst monitor bank 1");
  EXPECT_EQ(describeRequest(hex("19 02 08")),
            "19 02 08: ReadDTCInformation, reportDTCByStatusMask, status mask 08");
  EXPECT_EQ(describeRequest(hex("1A 90")), "1a 90: ReadECUIdentification (KWP2000)");
  EXPECT_EQ(describeRequest(hex("BA")), "ba");
}
TEST(Describe, NothingOutOfBounds) {  // run under AddressSanitizer
  for (unsigned s = 0; s < 256; ++s)
    for (std::size_t n = 0; n < 8; ++n)
      for (std::size_t m = 0; m < 9; ++m) {
        Bytes r(n, 0x01), a(m, 0x01);
        if (n != 0) r[0] = static_cast<std::uint8_t>(s);
        if (m != 0) a[0] = static_cast<std::uint8_t>(s + 0x40);
        EXPECT_FALSE(describeRequest(r).empty());
        (void)describeAnswer(r, a);
        EXPECT_FALSE(vinOf(r, a));
      }
}

// ---- request text

TEST(RequestText, ObdGoesToTheFunctionalAddress) {
  const auto r = parseRequestText("01 0C");
  ASSERT_TRUE(r);
  EXPECT_EQ(r->target, functionalTarget());
  EXPECT_EQ(r->pdu, hex("01 0C"));
}
TEST(RequestText, Addresses) {
  const auto r = parseRequestText("@7E0 22 F190");
  ASSERT_TRUE(r);
  EXPECT_EQ(r->target, (Target{0x7E0, std::nullopt, false, false}));
  EXPECT_EQ(r->pdu, hex("22 F1 90"));
  const auto s = parseRequestText("@18DA10F1 22F190");
  ASSERT_TRUE(s);
  EXPECT_EQ(s->target, (Target{0x18DA10F1, std::nullopt, true, false}));
  EXPECT_TRUE(parseRequestText("@18DB33F1 01 00")->target.functional);
}
TEST(RequestText, UdsWithoutAddressSaysHow) {
  const auto r = parseRequestText("22 F190");
  ASSERT_FALSE(r);
  EXPECT_EQ(r.error().kind, ErrorKind::usage);
  EXPECT_NE(r.error().text().find("@7E0 22 F190"), std::string::npos);
}
TEST(RequestText, EachMistakeIsUsage) {
  for (const char* text : {"", "   ", "0", "01 0", "xx", "@7E0", "@7 01 00", "@800 01 00", "@20000000 01 00",
                           "@0x7E0 01 00", "@ 01 00", "3E 00", "10 03"}) {
    const auto r = parseRequestText(text);
    ASSERT_FALSE(r) << text;
    EXPECT_EQ(r.error().kind, ErrorKind::usage) << text;
  }
}

TEST(TargetIds, AnswerIdentifiers) {  // ISO 15765-4 identifier tables
  EXPECT_EQ(answerIdOf(0x7E0, false), 0x7E8U);
  EXPECT_EQ(answerIdOf(0x7E7, false), 0x7EFU);
  EXPECT_FALSE(answerIdOf(0x7E8, false));
  EXPECT_EQ(answerIdOf(0x18DA10F1, true), 0x18DAF110U);
  EXPECT_EQ(requestIdOf(0x7E9, false), 0x7E1U);
  EXPECT_EQ(requestIdOf(0x18DAF158, true), 0x18DA58F1U);
  EXPECT_FALSE(requestIdOf(0x123, false));
}

}  // namespace
}  // namespace pin16::protocol
