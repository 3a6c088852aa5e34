// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What a plugin is and what it gave, as owned data that can travel between processes (base/pack.hpp).

#include <cstdint>
#include <string>
#include <vector>

#include "core/base/clock.hpp"

namespace pin16::plugin {

/// As pin16_setting; `type` is enum pin16_setting_type.
struct SettingFacts {
  std::string name, help, unit;
  std::uint32_t type = 0;
  double least = 0, most = 0, number = 0;
  std::string text;
  template <class A>
  void fields(A& a) {
    a(name), a(help), a(unit), a(type), a(least), a(most), a(number), a(text);
  }
};
struct SeriesFacts {
  std::string name, unit, help, limit_low, limit_high;
  std::uint32_t chart = 0;
  template <class A>
  void fields(A& a) {
    a(name), a(unit), a(help), a(limit_low), a(limit_high), a(chart);
  }
};
struct CounterFacts {
  std::string name, help;
  template <class A>
  void fields(A& a) {
    a(name), a(help);
  }
};
/// A plugin's description of itself.
struct Facts {
  std::string name, version, summary;
  std::uint64_t kinds = 0;  ///< PIN16_KIND_BIT()
  bool asks = false;
  std::vector<SettingFacts> settings;
  std::vector<SeriesFacts> series;
  std::vector<CounterFacts> counters;
  template <class A>
  void fields(A& a) {
    a(name), a(version), a(summary), a(kinds), a(asks), a(settings), a(series), a(counters);
  }
};

struct Point {
  Ns t_ns = kNoTime;
  double value = 0;
  double uncertainty = -1;
  template <class A>
  void fields(A& a) {
    a(t_ns), a(value), a(uncertainty);
  }
};
struct Figure {
  std::string what, unit, limit_name, text;
  double value = 0;  ///< NaN: text only
  double uncertainty = -1;
  template <class A>
  void fields(A& a) {
    a(what), a(unit), a(limit_name), a(text), a(value), a(uncertainty);
  }
};
enum class Weight : std::uint8_t { fact = 0, warning = 1, against = 2 };
struct Finding {
  std::string code, text, step;
  std::vector<Figure> figures;
  std::vector<std::uint64_t> events;
  double confidence = 1;
  Ns t_ns = kNoTime;
  Weight weight = Weight::fact;
  std::uint16_t link = 0xFFFF;
  template <class A>
  void fields(A& a) {
    a(code), a(text), a(step), a(figures), a(events), a(confidence), a(t_ns), a(weight), a(link);
  }
};
struct Section {
  std::string title, text;
  std::vector<Figure> rows;
  template <class A>
  void fields(A& a) {
    a(title), a(text), a(rows);
  }
};
struct Evidence {
  std::string point, unit;
  double value = 0, uncertainty = -1;
  Ns t_ns = kNoTime;
  template <class A>
  void fields(A& a) {
    a(point), a(unit), a(value), a(uncertainty), a(t_ns);
  }
};

/// Everything that one plugin gave. `failed` not empty: it was ended, and why; what stands here it had given
/// before.
struct Results {
  Facts facts;
  std::vector<std::vector<Point>> points;  ///< as many as facts.series
  std::vector<std::uint64_t> counters;     ///< as many as facts.counters
  std::vector<Finding> findings;
  std::vector<Section> sections;
  std::vector<Evidence> evidence;
  std::string failed;
  std::uint64_t dropped = 0;  ///< given beyond what is kept, or out of range
  std::string dropped_why;    ///< the first reason
  template <class A>
  void fields(A& a) {
    a(facts), a(points), a(counters), a(findings), a(sections), a(evidence), a(failed), a(dropped),
        a(dropped_why);
  }
};

/// Adds what came later of the same plugin; counters add up.
void append(Results& all, Results&& more);
/// What is in `all`; there remain its description and whether it failed.
[[nodiscard]] Results takeFrom(Results& all);

/// A file that was not loaded.
struct Refused {
  std::string path;
  std::string reason;  ///< one line
};

// What is kept of one plugin in one run; a flood beyond is counted (own figures).
inline constexpr std::size_t kPointsMax = 2'000'000;
inline constexpr std::size_t kFindingsMax = 2'000;
inline constexpr std::size_t kSectionsMax = 64;
inline constexpr std::size_t kEvidenceMax = 10'000;
inline constexpr std::size_t kRowsMax =
    4'096;  ///< figures of a finding, rows of a section, events of a finding
inline constexpr std::size_t kTextMax = 16'384;  ///< bytes of one text

}  // namespace pin16::plugin
