// SPDX-License-Identifier: Apache-2.0
#include "core/cli/operator.hpp"

#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <fstream>
#include <iostream>

#include "core/job/job.hpp"

namespace pin16::cli {
namespace {

Result<Saying> parseSaying(const std::string& line, const std::string& by) {
  Saying s;
  if (line.starts_with("clear ")) {
    s.what = Saying::What::clearance;
    const std::size_t blank = line.find(' ', 6);
    auto clearance = parseClearance(line.substr(6, blank - 6),
                                    blank == std::string::npos ? "" : line.substr(blank + 1), by);
    if (!clearance) return clearance.error();
    s.clearance = std::move(*clearance);
    return s;
  }
  if (line.starts_with("note ")) {
    s.note = line.substr(5);
    return s;
  }
  if (line.starts_with("power ")) {
    s.what = Saying::What::power;
    const std::string state = line.substr(6);
    if (state == "off") s.power = event::PowerState::off;
    if (state == "source") s.power = event::PowerState::source;
    if (state == "on") s.power = event::PowerState::on;
    if (s.power == event::PowerState::unknown)
      return Error{ErrorKind::input, "'" + state + "' is no power state", "", "write off, source or on"};
    return s;
  }
  s.what = Saying::What::reading;
  auto reading = job::parseReading(line);
  if (!reading) return reading.error();
  s.reading = std::move(*reading);
  return s;
}

}  // namespace

Result<event::Clearance> parseClearance(const std::string& code, const std::string& answer,
                                        const std::string& by) {
  event::Clearance c{code, event::Known::unknown, by, ""};
  if (answer == "yes") {
    c.cleared = event::Known::yes;
  } else if (answer == "no") {
    c.cleared = event::Known::no;
  } else if (answer.starts_with("because ") && answer.find_first_not_of(' ', 8) != std::string::npos) {
    c.reason = answer.substr(answer.find_first_not_of(' ', 8));
  } else if (answer != "unknown") {
    return Error{ErrorKind::input, "'" + answer + "' is no answer to what must be cleared before power", "",
                 "write yes, no, unknown, or because and a reason to go on without knowing"};
  }
  return c;
}

Result<std::vector<Saying>> readOperatorFile(const std::string& path, const std::string& by) {
  std::ifstream in(path);
  if (!in)
    return Error{ErrorKind::input, std::string("cannot be read: ") + std::strerror(errno), path,
                 "give a file with one answer a line"};
  std::vector<Saying> all;
  std::string line;
  for (int number = 1; std::getline(in, line); ++number) {
    line.erase(0, line.find_first_not_of(" \t"));
    line.erase(line.find_last_not_of(" \t\r") + 1);
    if (line.empty() || line.front() == '#') continue;
    auto saying = parseSaying(line, by);
    if (!saying) {
      Error e = saying.error();
      e.kind = ErrorKind::input;
      e.place = path + ":" + std::to_string(number) + (e.place.empty() ? "" : ": " + e.place);
      return e;
    }
    all.push_back(std::move(*saying));
  }
  return all;
}

std::string askTerminal(const std::string& question) {
  std::fprintf(stderr, "%s", question.c_str());
  std::string line;
  if (!std::getline(std::cin, line)) return {};
  return line;
}

bool operatorPresent() { return isatty(STDIN_FILENO) != 0 && isatty(STDERR_FILENO) != 0; }

}  // namespace pin16::cli
