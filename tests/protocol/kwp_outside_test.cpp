// SPDX-License-Identifier: Apache-2.0
// What leaves for an ISO 14230-4 line, and what comes back, read by scapy's contrib/automotive/kwp.
#include <gtest/gtest.h>

#include <array>
#include <boost/json/parse.hpp>
#include <boost/json/value.hpp>
#include <cstdio>

#include "core/protocol/gate.hpp"
#include "core/protocol/names.hpp"
#include "core/protocol/services.hpp"
#include "tests/protocol/scapy.hpp"
#include "tests/protocol/world.hpp"

namespace pin16::protocol {
namespace {

std::string text(const boost::json::value& v) { return std::string(v.as_string()); }

TEST(KwpOutside, ReadsWhatTheGateLetsOutAndWhatAnswersIt) {
  World w{{.sealed = false, .rate_fixed = true, .module_request_ids = {}}, false};
  w.medium(event::Medium::iso14230_4);
  const Target module{0x58, std::nullopt, false, false, true};
  std::vector<std::string> sent, answers;
  for (unsigned option = 0; option < 256; ++option) {
    w.ask(module, ("1A" + toHex(Bytes{static_cast<std::uint8_t>(option)})).c_str());
    w.until(w.now + ms(1100));
  }
  for (const Bytes& line : w.far_lines) sent.push_back(toHex(ByteView(line).subspan(3, line.size() - 4)));
  sent.push_back("3e");
  answers = {"5a9030504e313642454e364830303030303031", "7f1a12", "7f1a78", "7e"};
  std::vector<std::string> all = sent;
  all.insert(all.end(), answers.begin(), answers.end());
  const auto read = scapyReads("scapy_kwp.py", all);
  if (read.empty()) GTEST_SKIP() << "no scapy";

  for (const std::string& s : sent) {
    const auto& r = read.at(s).as_object();
    EXPECT_EQ(text(r.at("service")), s == "3e" ? "TesterPresent" : "ReadECUIdentification") << s;
  }
  // Every identification that scapy names is on the list; it names none outside of 80-9F.
  EXPECT_EQ(text(read.at("1a90").at("name")), "VIN (Current)");
  const auto& vin = read.at(answers[0]).as_object();
  EXPECT_EQ(vin.at("option").to_number<int>(), 0x90);
  EXPECT_EQ(text(vin.at("load")), answers[0].substr(4));
  EXPECT_EQ(answerKind(hex("1A 90"), hex(answers[0].c_str())), AnswerKind::positive);
  EXPECT_EQ(text(read.at("7f1a12").at("code")), "subFunctionNotSupported-InvalidFormat");
  EXPECT_EQ(read.at("7f1a12").at("of").to_number<int>(), 0x1A);
  EXPECT_EQ(answerKind(hex("1A 90"), hex("7F 1A 12")), AnswerKind::negative);
  EXPECT_EQ(text(read.at("7f1a78").at("code")), "requestCorrectlyReceived-ResponsePending");
  EXPECT_EQ(answerKind(hex("1A 90"), hex("7F 1A 78")), AnswerKind::pending);
  EXPECT_EQ(text(read.at("7e").at("service")), "TesterPresentPositiveResponse");
}

}  // namespace
}  // namespace pin16::protocol
