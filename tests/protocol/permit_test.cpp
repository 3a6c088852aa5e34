// SPDX-License-Identifier: Apache-2.0
// Nobody but the gate can make a Permit: files that try must not compile, one that only uses it must.
#include <gtest/gtest.h>

#include <array>
#include <cstdio>
#include <string>

namespace {

struct Compiled {
  bool ok = false;
  std::string text;
};

Compiled compile(const std::string& file) {
  const std::string command = "LC_ALL=C c++ -std=c++20 -fsyntax-only -I" PIN16_SOURCE_DIR " " PIN16_SOURCE_DIR
                              "/tests/protocol/permit_compile_fail/" +
                              file + " 2>&1";
  Compiled out;
  FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) return out;
  std::array<char, 4096> part{};
  while (const std::size_t n = std::fread(part.data(), 1, part.size(), pipe)) out.text.append(part.data(), n);
  out.ok = pclose(pipe) == 0;
  return out;
}

TEST(Permit, ControlCompiles) {
  const Compiled c = compile("control.cc");
  EXPECT_TRUE(c.ok) << c.text;
}
TEST(Permit, CannotBeConstructed) {
  const Compiled c = compile("construct.cc");
  EXPECT_FALSE(c.ok);
  EXPECT_NE(c.text.find("private within this context"), std::string::npos) << c.text;
}
TEST(Permit, CannotBeCopied) {
  const Compiled c = compile("copy.cc");
  EXPECT_FALSE(c.ok);
  EXPECT_NE(c.text.find("use of deleted function"), std::string::npos) << c.text;
}
TEST(Permit, CannotBeDefaultConstructed) {
  const Compiled c = compile("empty.cc");
  EXPECT_FALSE(c.ok);
  EXPECT_NE(c.text.find("no matching function"), std::string::npos) << c.text;
}
TEST(Permit, CannotBeMadeByDeriving) {
  const Compiled c = compile("derive.cc");
  EXPECT_FALSE(c.ok);
  EXPECT_NE(c.text.find("private within this context"), std::string::npos) << c.text;
}
TEST(Permit, FrameCannotBeChanged) {
  const Compiled c = compile("change.cc");
  EXPECT_FALSE(c.ok);
  EXPECT_NE(c.text.find("read-only"), std::string::npos) << c.text;
}
TEST(Permit, NobodyCanSpeakForTheGateByDerivingFromIt) {
  const Compiled c = compile("derive_gate.cc");
  EXPECT_FALSE(c.ok);
  EXPECT_NE(c.text.find("final"), std::string::npos) << c.text;
}

}  // namespace
