// SPDX-License-Identifier: Apache-2.0
// Answers as data: trouble codes, monitors, vehicle information, identification; whole, cut short, too long.
#include "core/protocol/decoded.hpp"

#include <gtest/gtest.h>

#include "core/protocol/dtc.hpp"
#include "core/protocol/monitors.hpp"
#include "core/protocol/names.hpp"
#include "tests/protocol/csv.hpp"
#include "tests/protocol/world.hpp"

namespace pin16::protocol {
namespace {

using Bits = std::vector<std::string>;

Decoded decoded(const char* request, const char* answer) { return decodeAnswer(hex(request), hex(answer)); }
std::string text(const char* request, const char* answer) { return toText(decoded(request, answer)); }

// ---- trouble codes, SAE J2012 / ISO 15031-6: examples of data/obd_services.csv

TEST(TroubleCodes, ExamplesOfTheTable) {
  int checked = 0;
  for (const CsvRow& row : csvRows("obd_services.csv", 162)) {
    if (row.at("group") != "DTC example" || row.at("code").size() != 5) continue;
    const Bytes code = hex(row.at("code").c_str());
    if (row.at("name").starts_with("padding")) {
      EXPECT_EQ(decoded("03", "43 01 00 00").items.at(1).note, "padding, not a trouble code");
      continue;
    }
    EXPECT_EQ(dtcText(word(code, 0)), row.at("name"));
    ++checked;
  }
  EXPECT_EQ(checked, 12);
}
TEST(TroubleCodes, PublishedTrace) {  // service 03 on CAN in a public document
  for (const char* service : {"03", "07", "0A"}) {
    Bytes answer = hex("43 06 01 00 02 00 03 00 43 00 82 00 C1 00");
    answer[0] = static_cast<std::uint8_t>(hex(service)[0] + 0x40);
    const auto d = decodeAnswer(hex(service), answer);
    EXPECT_EQ(toText(d), "number of trouble codes 6, trouble code: P0100, P0200, P0300, C0300, B0200, U0100");
    EXPECT_EQ(d.problem, "");
    EXPECT_EQ(*d.items.at(0).value, 6);
    EXPECT_EQ(d.items.at(6).id, "U0100");
    EXPECT_EQ(d.items.at(6).raw, "c100");
  }
}
TEST(TroubleCodes, None) { EXPECT_EQ(text("03", "43 00"), "number of trouble codes 0"); }
TEST(TroubleCodes, CutShortAndTooLong) {
  EXPECT_EQ(
      text("03", "43 02 01 00 02"),
      "number of trouble codes 2, trouble code: P0100; cut short: 2 codes announced, 1 whole ones follow");
  EXPECT_EQ(text("03", "43"), "the count byte is missing");
  EXPECT_EQ(text("07", "47 01 01 33 AA AA AA"),
            "number of trouble codes 1, trouble code: P0133; 3 more bytes than the 1 codes announced");
}
TEST(TroubleCodes, EveryStatusBitAsInTheTable) {  // ISO 14229-1 Annex D via scapy uds.py and packet-uds.c
  int checked = 0;
  for (const CsvRow& row : csvRows("uds_names.csv", 150)) {
    if (row.at("group") != "dtcStatus") continue;
    const auto bit = static_cast<std::uint8_t>(std::stoul(row.at("code"), nullptr, 16));
    EXPECT_EQ(dtcStatusBits(bit), Bits{row.at("name")});
    ++checked;
  }
  EXPECT_EQ(checked, 8);
  EXPECT_EQ(dtcStatusBits(0), Bits{});
  EXPECT_EQ(dtcStatusBits(0xFF).size(), 8U);
}
TEST(TroubleCodes,
     ByStatusMask) {  // layout of ISO 14229-1 59 02 and 59 0A: mask, then code, failure type, status
  for (const char* sub : {"02", "0A"}) {
    const std::string request = std::string("19 ") + sub + (sub[1] == '2' ? " FF" : "");
    const std::string answer = std::string("59 ") + sub + " FF 01 33 16 2F 9A BC 87 08";
    const auto d = decoded(request.c_str(), answer.c_str());
    EXPECT_EQ(d.problem, "");
    ASSERT_EQ(d.items.size(), 4U);
    EXPECT_EQ(d.items[0].bits.size(), 8U);
    EXPECT_EQ(*d.items[1].value, 2);
    EXPECT_EQ(d.items[2].text, "P0133-16");
    EXPECT_EQ(d.items[2].bits, (Bits{"testFailed", "testFailedThisOperationCycle", "pendingDTC",
                                     "confirmedDTC", "testFailedSinceLastClear"}));
    EXPECT_EQ(d.items[2].raw, "0133162f");
    EXPECT_EQ(d.items[3].text, "B1ABC-87");
    EXPECT_EQ(toText(d.items[3]), "trouble code: B1ABC-87 [confirmedDTC] (status 08)");
  }
}
TEST(TroubleCodes, NoneByStatusMask) {
  EXPECT_EQ(text("19 02 08", "59 02 7B").substr(0, 38), "status bits that the module keeps: 7b ");
  EXPECT_EQ(*decoded("19 02 08", "59 02 7B").items.at(1).value, 0);
}
TEST(TroubleCodes, TheirNumber) {  // ISO 14229-1 59 01: mask, format, count
  const auto d = decoded("19 01 08", "59 01 FF 01 00 03");
  EXPECT_EQ(d.problem, "");
  ASSERT_EQ(d.items.size(), 3U);
  EXPECT_EQ(d.items[1].text, "ISO 14229-1");
  EXPECT_EQ(*d.items[2].value, 3);
}
TEST(TroubleCodes, DamagedUdsLists) {
  EXPECT_EQ(decoded("19 02 FF", "59 02").problem, "cut short: the status availability mask is missing");
  const auto d = decoded("19 02 FF", "59 02 FF 01 33 16 2F 9A BC");
  EXPECT_EQ(d.items.size(), 3U);
  EXPECT_EQ(d.problem, "the last 2 bytes are no whole trouble code: 9a bc");
  EXPECT_EQ(decoded("19 01 FF", "59 01 FF 01").problem, "2 bytes where 4 are expected");
  EXPECT_EQ(decoded("19 01 FF", "59 01 FF 01 00 03 AA").problem, "5 bytes where 4 are expected");
}

// ---- service 06. Layout: scapy mid/mids.py. Its figures are checked against scapy in pids_test.cpp.

TEST(Monitors, TestsWithTheirLimits) {
  const auto d = decoded("06 01", "46 01 01 0A 0E 69 08 00 10 00 01 8B 8A FF 00 00 01 00 02");
  EXPECT_EQ(d.problem, "");
  ASSERT_EQ(d.items.size(), 2U);
  EXPECT_EQ(d.items[0].id, "01 01");
  EXPECT_EQ(d.items[0].what,
            "oxygen sensor monitor bank 1 sensor 1, test 01 rich to lean sensor threshold voltage");
  EXPECT_EQ(*d.items[0].value, 0x0E69);
  EXPECT_EQ(*d.items[0].min, 0x0800);
  EXPECT_EQ(*d.items[0].max, 0x1000);
  EXPECT_EQ(d.items[0].text, "within its limits");
  EXPECT_NE(d.items[0].note.find("layout not settled; by one source 450.058 mV"), std::string::npos)
      << d.items[0].note;              // 3689 x 0.122 mV
  EXPECT_EQ(*d.items[1].value, -256);  // signed from 80 on
  EXPECT_EQ(d.items[1].text, "outside its limits");
  EXPECT_FALSE(d.items[1].settled);
}
TEST(Monitors, UnknownOnesAndSupport) {
  EXPECT_EQ(decoded("06 C1", "46 C1 80 7F 00 01 00 00 00 02").items.at(0).what, "monitor C1, test 80");
  EXPECT_EQ(decoded("06 C1", "46 C1 80 7F 00 01 00 00 00 02").items.at(0).note, "layout not settled");
  EXPECT_EQ(text("06 00", "46 00 C0 00 00 01"), "supported monitors: 01 02 20");
}
TEST(Monitors, CutShort) {
  const auto d = decoded("06 01", "46 01 01 0A 0E 69 08 00 10 00 01 02 0A");
  EXPECT_EQ(d.items.size(), 1U);
  EXPECT_EQ(d.problem, "the last 3 bytes are no whole test of 9: 01 02 0a");
  EXPECT_EQ(decoded("06 00", "46 00 C0 00").problem, "2 bytes of bit map where 4 are expected");
}

// ---- service 09. Layouts: scapy iid/iids.py.

TEST(VehicleInfo, Vin) {  // sample calculation printed in 49 CFR 565
  const auto d = decoded("09 02", "49 02 01 31 47 34 41 48 35 39 48 34 35 47 31 31 38 33 34 31");
  ASSERT_EQ(d.items.size(), 1U);
  EXPECT_EQ(toText(d), "VIN 1G4AH59H45G118341 (check digit matches)");
  EXPECT_EQ(d.items[0].text, "1G4AH59H45G118341");
  EXPECT_EQ(d.items[0].note, "check digit matches");
}
TEST(VehicleInfo, TwoCalibrationsWithTheirNumbers) {
  EXPECT_EQ(text("09 04",
                 "49 04 02 50 31 36 2D 41 00 00 00 00 00 00 00 00 00 00 00 "
                 "50 31 36 2D 42 30 31 32 33 34 35 36 37 38 39 41"),
            "calibration ID 1: P16-A, calibration ID 2: P16-B0123456789A");
  EXPECT_EQ(text("09 06", "49 06 02 17 91 BC 82 16 E0 62 BE"),
            "calibration verification number 1: 17 91 bc 82, calibration verification number 2: 16 e0 62 be");
}
TEST(VehicleInfo, EcuName) {
  EXPECT_EQ(text("09 0A", "49 0A 01 45 43 4D 00 2D 45 6E 67 69 6E 65 00 00 00 00 00 00 00 00 00"),
            "ECU name: ECM-Engine");
}
TEST(VehicleInfo, InUseCounters) {
  Bytes answer = hex("49 08 14");
  for (std::uint8_t i = 0; i < 20; ++i) answer.insert(answer.end(), {0x01, i});
  const auto spark = decodeAnswer(hex("09 08"), answer);
  ASSERT_EQ(spark.items.size(), 20U);
  EXPECT_EQ(spark.items[0].what, "in-use counter OBDCOND");
  EXPECT_EQ(spark.items[19].what, "in-use counter SO2SCOND2");
  EXPECT_EQ(*spark.items[19].value, 0x0113);
  EXPECT_EQ(spark.items[19].note, "name from memory");
  answer = hex("49 0B 12");
  for (std::uint8_t i = 0; i < 18; ++i) answer.insert(answer.end(), {0x00, i});
  const auto compression = decodeAnswer(hex("09 0B"), answer);
  ASSERT_EQ(compression.items.size(), 18U);
  EXPECT_EQ(compression.items[17].what, "in-use counter FUELCOND");
  // another number of counters than the table has: not named
  EXPECT_EQ(text("09 08", "49 08 02 00 01 00 02"), "in-use counter 1 1, in-use counter 2 2");
}
TEST(VehicleInfo, SupportAndMessageCounts) {
  EXPECT_EQ(text("09 00", "49 00 54 40 00 00"), "supported infotypes: 02 04 06 0A");
  EXPECT_EQ(text("09 01", "49 01 05"), "VIN message count 5 (not used on CAN)");
}
TEST(VehicleInfo, ThoseFromMemoryAreNamedAndRaw) {
  EXPECT_EQ(text("09 0D", "49 0D 01 41"), "infotype 0D engine serial number: 01 41 (layout not settled)");
  EXPECT_EQ(text("09 55", "49 55 01"), "infotype 55: 01 (layout not settled)");
}
TEST(VehicleInfo, None) {
  EXPECT_EQ(text("09 04", "49 04 00"), "calibration ID: none");
  EXPECT_EQ(text("09 02", "49 02 00 31"), "VIN none; 1 more bytes than the 0 x VIN announced");
}
TEST(VehicleInfo, DamagedOnes) {
  EXPECT_EQ(text("09 06", "49 06 02 17 91 BC 82 16"),
            "calibration verification number 1: 17 91 bc 82; cut short: 2 x calibration verification number "
            "announced, 1 whole, then 16");
  EXPECT_EQ(
      text("09 06", "49 06 01 17 91 BC 82 16"),
      "calibration verification number: 17 91 bc 82; 1 more bytes than the 1 x calibration verification "
      "number announced");
  EXPECT_EQ(text("09 04", "49 04"), "the count byte is missing");
  EXPECT_EQ(decoded("09 02", "49 02 01 31 47").problem, "cut short: 1 x VIN announced, 0 whole, then 31 47");
  EXPECT_EQ(decoded("09 00", "49 00 54").problem, "1 bytes where 4 are expected");
}

// ---- UDS 22, negative responses, the rest

TEST(Identification, TextOrBytesByName) {  // names: ISO 14229-1 Annex C Table C.1, data/uds_names.csv
  int checked = 0;
  for (const CsvRow& row : csvRows("uds_names.csv", 150)) {
    if (row.at("group") != "did") continue;
    const auto did = static_cast<std::uint16_t>(std::stoul(row.at("code"), nullptr, 16));
    EXPECT_EQ(didName(did), row.at("name"));
    const Bytes request = {0x22, static_cast<std::uint8_t>(did >> 8U), static_cast<std::uint8_t>(did)};
    Bytes answer = request;
    answer[0] = 0x62;
    answer.push_back(0x41);
    const Item item = decodeAnswer(request, answer).items.at(0);
    EXPECT_NE(item.what.find(row.at("name")), std::string::npos);
    EXPECT_EQ(item.raw, "41");
    ++checked;
  }
  EXPECT_EQ(checked, 32);
  EXPECT_EQ(text("22 F1 8C", "62 F1 8C 41 42 43"), "F18C ECUSerialNumber: ABC");
  EXPECT_EQ(text("22 F1 8B", "62 F1 8B 20 26 11 27"), "F18B ECUManufacturingDate: 20 26 11 27");
  EXPECT_EQ(text("22 F1 86", "62 F1 86 01"), "F186 activeDiagnosticSession: 01 (defaultSession)");
  EXPECT_EQ(text("22 F1 86", "62 F1 86 01 02"),
            "F186 activeDiagnosticSession: 01 02 (defaultSession); 2 bytes where 1 is expected");
  EXPECT_EQ(text("22 F1 8C", "62 F1 8C"), "F18C without data");
}
TEST(Negative, EveryCodeOfTheTableByName) {  // ISO 14229-1 Annex A, data/uds_names.csv
  int checked = 0;
  for (const CsvRow& row : csvRows("uds_names.csv", 150)) {
    if (row.at("group") != "nrc") continue;
    const std::string code = row.at("code");
    if (code == "0x00") continue;  // positive response, never on the bus
    const bool range = code.find('-') != std::string::npos;
    const auto first = static_cast<std::uint8_t>(std::stoul(code, nullptr, 16));
    if (code == "0x94-0xEF") {  // 94 has a name since 2020
      EXPECT_EQ(nrcName(0x95), "");
      EXPECT_EQ(nrcRangeName(0x95), "reservedForSpecificConditionsNotCorrect");
    } else if (range || row.at("name") == "ISOSAEReserved") {
      EXPECT_EQ(nrcName(first), "") << code;
      EXPECT_EQ(nrcRangeName(first), row.at("name")) << code;
    } else {
      EXPECT_EQ(nrcName(first), row.at("name")) << code;
    }
    const Bytes answer = {0x7F, 0x22, first};
    const std::string said = toText(decodeAnswer(hex("22 F1 90"), answer));
    EXPECT_NE(said.find("negative response: "), std::string::npos) << said;
    ++checked;
  }
  EXPECT_EQ(checked, 71);
  EXPECT_EQ(text("22 F1 90", "7F 22 31"), "negative response: 31 requestOutOfRange");
  EXPECT_EQ(text("22 F1 90", "7F 22 F5"),
            "negative response: F5 vehicleManufacturerSpecificConditionsNotCorrect");
  EXPECT_EQ(text("22 F1 90", "7F 22 31 00"),
            "negative response: 31 requestOutOfRange; 1 more bytes than a negative response has");
}
TEST(Other, ServicesOfOthersAreNamedOnly) {
  EXPECT_EQ(text("1A 90", "5A 90 41"), "ReadECUIdentification (KWP2000): 5a 90 41");
  EXPECT_EQ(text("10 03", "50 03 00 32 01 F4"), "DiagnosticSessionControl: 50 03 00 32 01 f4");
  EXPECT_EQ(text("BA 01", "FA 01"), "answer of service BA: fa 01");
  EXPECT_EQ(text("09 02", "62 F1 90"), "not an answer to this request: 62 f1 90");
}
TEST(Other, LongListsAreCounted) {
  Bytes answer = {0x43, 40};
  for (std::uint8_t i = 1; i <= 40; ++i) answer.insert(answer.end(), {0x01, i});
  EXPECT_EQ(toText(decodeAnswer(hex("03"), answer), 3),
            "number of trouble codes 40, trouble code: P0101, P0102 and 38 more");
}
/// Run under AddressSanitizer: nothing is read beyond the end, whatever the length.
TEST(Other, EveryLengthOfEveryService) {
  const Bytes tails[] = {hex("00 00 00 00 00 00 00 00 00 00"), hex("FF FF FF FF FF FF FF FF FF FF"),
                         hex("02 01 06 0C 02 00 0A 14 13 04"), hex("06 06 06 06 06 06 06 06 06 06")};
  const char* requests[] = {"01 00",
                            "01 06 07 0C 10 4F 14",
                            "01 A6",
                            "02 0C 00",
                            "02 02 00 06 01",
                            "03",
                            "06 01",
                            "06 00",
                            "07",
                            "09 00",
                            "09 02",
                            "09 04",
                            "09 06",
                            "09 08",
                            "09 0A",
                            "09 0B",
                            "09 0D",
                            "0A",
                            "22 F1 86",
                            "22 F1 90",
                            "19 01 FF",
                            "19 02 FF",
                            "19 0A",
                            "1A 90"};
  for (const char* r : requests)
    for (const Bytes& tail : tails)
      for (std::size_t n = 0; n <= tail.size(); ++n) {
        const Bytes request = hex(r);
        Bytes answer = request;
        answer[0] = static_cast<std::uint8_t>(answer[0] + 0x40);
        const std::size_t echoed = request[0] == 0x22                         ? 3
                                   : request[0] == 0x01 || request[0] == 0x09 ? 2
                                                                              : request.size();
        answer.resize(std::min(answer.size(), echoed));
        answer.insert(answer.end(), tail.begin(), tail.begin() + static_cast<std::ptrdiff_t>(n));
        const Decoded d = decodeAnswer(request, Bytes(answer));
        EXPECT_FALSE(toText(d).empty()) << r << " " << toHex(answer);
      }
}

}  // namespace
}  // namespace pin16::protocol
