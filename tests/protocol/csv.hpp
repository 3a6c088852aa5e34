// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The tables under data/: what published sources say, each row with its source.

#include <gtest/gtest.h>

#include <cctype>
#include <fstream>
#include <map>
#include <string>
#include <string_view>
#include <vector>

namespace pin16::protocol {

using CsvRow = std::map<std::string, std::string>;

inline std::vector<std::string> csvCells(const std::string& line) {
  std::vector<std::string> out(1);
  bool quoted = false;
  for (std::size_t i = 0; i < line.size(); ++i) {
    if (line[i] == '"' && quoted && i + 1 < line.size() && line[i + 1] == '"') {
      out.back() += line[++i];
    } else if (line[i] == '"') {
      quoted = !quoted;
    } else if (line[i] == ',' && !quoted) {
      out.emplace_back();
    } else if (line[i] != '\r') {
      out.back() += line[i];
    }
  }
  return out;
}

/// Rows by column name. A table that is missing or shorter than `at_least` fails the test.
inline std::vector<CsvRow> csvRows(const std::string& name, std::size_t at_least) {
  std::ifstream file(std::string(PIN16_SOURCE_DIR) + "/tests/protocol/data/" + name);
  std::vector<CsvRow> out;
  std::string line;
  std::getline(file, line);
  const std::vector<std::string> heads = csvCells(line);
  while (std::getline(file, line)) {
    const std::vector<std::string> cells = csvCells(line);
    EXPECT_EQ(cells.size(), heads.size()) << name << ": " << line;
    CsvRow row;
    for (std::size_t i = 0; i < std::min(cells.size(), heads.size()); ++i) row[heads[i]] = cells[i];
    EXPECT_FALSE(row["source"].empty()) << name << ": " << line;
    out.push_back(std::move(row));
  }
  EXPECT_GE(out.size(), at_least) << name;
  return out;
}

/// Letters and digits only, lower case: sources differ in blanks, hyphens and brackets.
inline std::string bare(std::string_view text) {
  std::string out;
  for (const char c : text)
    if (std::isalnum(static_cast<unsigned char>(c)) != 0)
      out += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
  return out;
}

}  // namespace pin16::protocol
