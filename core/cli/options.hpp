// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What the command line asked for; filled by options.cpp, the only place that knows the parser library.

#include <string>
#include <vector>

#include "core/base/result.hpp"

namespace pin16::cli {

/// 0 done and ready; see docs/exit-codes.md for the rest (result.hpp has those of errors).
inline constexpr int kExitReady = 0;
inline constexpr int kExitNotReady = 1;

struct Options {
  std::vector<std::string> uris;
  std::vector<std::string> words;  ///< requests of `query`, text of `note`
  std::string job;
  std::string file;                   ///< the capture to read
  std::string output;                 ///< -o: the capture to write
  std::vector<std::string> readings;  ///< --reading
  std::string readings_file;          ///< check: CSV
  std::string operator_file;          ///< --operator
  std::string sweep;                  ///< --sweep: "7E0-7EF"
  std::string with;                   ///< links --with: the second adapter
  std::string check_uri;              ///< links --check
  std::string rate_uri;               ///< links --rate-search
  std::string find;                   ///< review --find
  std::string answer;                 ///< query --answer: identifier that answers come on
  std::string by;                     ///< note --by
  std::vector<std::string> plugins;   ///< --plugin
  std::vector<std::string> photos, people, meters, clocks;  ///< scene
  bool found = false, left = false;                         ///< scene: which checklist
  bool cautions = false;                                    ///< scene: read, and by whom
  unsigned threads = 1;                                     ///< review --threads
  std::string priors;                                       ///< why --priors
  std::vector<std::string> without;                         ///< why --without
  std::vector<std::string> mended;                          ///< why --mended: causes
  bool numbers = false;                                     ///< why --numbers
  bool no_plugins = false;
  double for_s = 0;
  int repeats = 3;
  bool ask = false;
  bool json = false;
  bool lines = false;
  bool sheet = false;              ///< review --sheet
  bool readings_only = false;      ///< bench --readings
  std::vector<std::string> serve;  ///< bench --serve
  std::string at;                  ///< bench --at
  bool rate_known = false;
  bool list = false, answers = false;  ///< bench
  bool search = false;
  bool end = false;          ///< note --end
  bool attempt = false;      ///< listen --attempt
  std::string changed;       ///< listen --changed: the one thing that differs from the attempt before
  std::string unchanged;     ///< listen --unchanged: why nothing does
  std::string attempt_mark;  ///< note --attempt: begin, end
};

// One function a command, each returning the exit code.
int check(const Options& o);
int listen(const Options& o);
int query(const Options& o);
int rollcall(const Options& o);
int review(const Options& o);
int verify(const Options& o);
int note(const Options& o);
int scene(const Options& o);
int plan(const Options& o);
int why(const Options& o);
int bench(const Options& o);
int links(const Options& o);
int plugins(const Options& o);

/// Prints the error on stderr and gives its exit code.
int fail(const Error& e);

}  // namespace pin16::cli
