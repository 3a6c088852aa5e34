// SPDX-License-Identifier: Apache-2.0
#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <fstream>
#include <iterator>
#include <optional>

#include "core/job/job.hpp"

namespace pin16::job {
namespace {

using event::Measurement;

constexpr std::array<std::string_view, 8> kColumns{"point", "value", "unit", "power",
                                                   "u",     "with",  "by",   "meter"};

struct Row {
  std::size_t line = 0;  ///< from 1; where it begins
  std::vector<std::string> cells;
};

struct Table {
  const std::string& file;
  char separator = ',';
  std::vector<Row> rows;
  [[nodiscard]] Error wrong(std::size_t line, std::string what, std::string advice) const {
    return {ErrorKind::input, std::move(what), fmt::format("{}:{}", file, line), std::move(advice)};
  }
};

/// RFC 4180: cells in quotes may hold separators, line ends and doubled quotes. Lines may end in LF too.
Status split(std::string_view text, Table& table) {
  Row row{1, {}};
  std::string cell;
  std::size_t line = 1, opened = 0;
  bool quoted = false, was_quoted = false;
  const auto endCell = [&] {
    row.cells.push_back(std::exchange(cell, {}));
    was_quoted = false;
  };
  const auto endRow = [&](std::size_t next_line) {
    const bool empty = row.cells.empty() && cell.empty() && !was_quoted;
    endCell();
    if (!empty) table.rows.push_back(std::move(row));
    row = Row{next_line, {}};
  };
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    line += c == '\n' ? 1 : 0;
    if (quoted) {
      if (c != '"') {
        cell += c;
      } else if (i + 1 < text.size() && text[i + 1] == '"') {
        cell += text[++i];
      } else {
        quoted = false;
      }
    } else if (c == '"' && cell.empty() && !was_quoted) {
      quoted = was_quoted = true;
      opened = line;
    } else if (c == '"' || (was_quoted && c != table.separator && c != '\r' && c != '\n')) {
      return table.wrong(line, "a quotation mark inside a cell",
                         "put the whole cell in quotes and double the quotes in it");
    } else if (c == table.separator) {
      endCell();
    } else if (c == '\n') {
      endRow(line);
    } else if (c != '\r') {
      cell += c;
    }
  }
  if (quoted) return table.wrong(opened, "a quotation mark is not closed", "close it");
  endRow(line);
  return {};
}

/// Where each known column stands.
using Places = std::array<std::optional<std::size_t>, kColumns.size()>;
Result<Places> places(const Table& table, const Row& head) {
  Places out;
  for (std::size_t i = 0; i < head.cells.size(); ++i) {
    const auto known = std::find(kColumns.begin(), kColumns.end(), head.cells[i]);
    if (known == kColumns.end())
      return table.wrong(head.line, fmt::format("'{}' is not a known column", head.cells[i]),
                         fmt::format("the columns are {}", fmt::join(kColumns, ", ")));
    auto& at = out[static_cast<std::size_t>(known - kColumns.begin())];
    if (at) return table.wrong(head.line, fmt::format("column '{}' stands twice", *known), "take one out");
    at = i;
  }
  if (!out[0] || !out[1])
    return table.wrong(head.line, "the first line must name the columns, 'point' and 'value' among them",
                       fmt::format("the columns are {}", fmt::join(kColumns, ", ")));
  return out;
}

/// As it would be typed.
Result<std::string> typed(const Table& table, const Row& row, const Places& at) {
  const auto cell = [&](std::size_t column) {
    return at[column] && *at[column] < row.cells.size() ? row.cells[*at[column]] : std::string();
  };
  std::string value = cell(1);
  // Where the semicolon parts cells, the comma is the decimal sign.
  if (table.separator == ';') std::replace(value.begin(), value.end(), ',', '.');
  std::string out = fmt::format("{}={}{}", cell(0), value, cell(2));
  for (std::size_t i = 3; i < kColumns.size(); ++i) {
    std::string text = cell(i);
    if (text.empty()) continue;
    if (text.find('"') != std::string::npos)
      return table.wrong(row.line, fmt::format("a quotation mark in column '{}'", kColumns[i]),
                         "write it without");
    if (i == 4 && table.separator == ';') std::replace(text.begin(), text.end(), ',', '.');
    out += fmt::format(" {}=\"{}\"", kColumns[i], text);
  }
  return out;
}

}  // namespace

Result<std::vector<Measurement>> readReadings(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::string text{std::istreambuf_iterator<char>(in), {}};
  if (!in.is_open() || in.bad())
    return Error{ErrorKind::input, "cannot be read", path, "name a CSV file with one reading a line"};
  if (text.rfind("\xEF\xBB\xBF", 0) == 0) text.erase(0, 3);  // spreadsheets put it there
  Table table{path, ',', {}};
  if (text.substr(0, text.find('\n')).find(';') != std::string::npos) table.separator = ';';
  if (auto s = split(text, table); !s) return s.error();
  if (table.rows.empty())
    return table.wrong(1, "no line with the names of the columns",
                       fmt::format("the columns are {}", fmt::join(kColumns, ", ")));
  const auto at = places(table, table.rows.front());
  if (!at) return at.error();
  std::vector<Measurement> out;
  for (auto row = table.rows.begin() + 1; row != table.rows.end(); ++row) {
    if (row->cells.size() > table.rows.front().cells.size())
      return table.wrong(row->line,
                         fmt::format("{} cells where the first line names {}", row->cells.size(),
                                     table.rows.front().cells.size()),
                         "put cells that hold a comma, such as \"V(pin16,pin4)\", in quotes");
    const auto line = typed(table, *row, *at);
    if (!line) return line.error();
    auto reading = parseReading(*line);
    if (!reading) return table.wrong(row->line, reading.error().what, reading.error().advice);
    out.push_back(std::move(*reading));
  }
  return out;
}

}  // namespace pin16::job
