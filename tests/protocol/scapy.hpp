// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What scapy makes of lines, by a script of this folder that prints one JSON object.

#include <gtest/gtest.h>

#include <array>
#include <boost/json/object.hpp>
#include <boost/json/parse.hpp>
#include <cstdio>
#include <string>
#include <vector>

namespace pin16::protocol {

inline boost::json::object scapyReads(const std::string& script, const std::vector<std::string>& lines) {
  const std::string input = ::testing::TempDir() + "/pin16_" + script + ".txt";
  FILE* file = std::fopen(input.c_str(), "w");
  if (file == nullptr) return {};
  for (const auto& l : lines) std::fprintf(file, "%s\n", l.c_str());
  std::fclose(file);
  const std::string call = "/usr/bin/python3 " PIN16_SOURCE_DIR "/tests/protocol/" + script + " < " + input;
  FILE* pipe = popen(call.c_str(), "r");
  if (pipe == nullptr) return {};
  std::string text;
  std::array<char, 4096> part{};
  while (const std::size_t n = std::fread(part.data(), 1, part.size(), pipe)) text.append(part.data(), n);
  EXPECT_EQ(pclose(pipe), 0);
  std::remove(input.c_str());
  return boost::json::parse(text.empty() ? "{}" : text).as_object();
}

}  // namespace pin16::protocol
