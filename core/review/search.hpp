// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A search over a stream in plain words (docs/search.md): `id 7E8 ended silent near 12:03:04 within 2`. The
/// same for the command and for windows.

#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.hpp"
#include "core/job/job.hpp"
#include "core/review/census.hpp"

namespace pin16::review {

/// Words of one kind: any of them fits. Words of different kinds: all must fit.
struct Query {
  struct Identifier {
    std::uint32_t value = 0;
    bool extended = false;  ///< written with 8 digits
    bool line = false;      ///< written with 2 digits: an address of a K-line or J1850 bus
    bool operator==(const Identifier&) const = default;
  };
  std::vector<Identifier> ids;
  std::vector<std::uint8_t> services;  ///< of the request, ISO 14229-1 and SAE J1979
  std::vector<std::string> ended;      ///< as event::toText(Ended); also "late", "pending"
  std::vector<std::string> kinds;      ///< kindNames()
  std::vector<std::uint16_t> links;
  std::vector<std::string> texts;  ///< in lower case, sought in the line that describes the event
  /// One of three: a moment, UTC; a time of day, UTC, of whichever day; a time from the stream's first one.
  std::optional<Ns> near_utc_ns, near_of_day_ns, near_from_start_ns;
  Ns within_ns = kNsPerSecond;

  [[nodiscard]] bool empty() const {
    return ids.empty() && services.empty() && ended.empty() && kinds.empty() && links.empty() &&
           texts.empty() && !near_utc_ns && !near_of_day_ns && !near_from_start_ns;
  }
};

/// ErrorKind::usage names the word, what was expected and what to write.
[[nodiscard]] Result<Query> parseQuery(std::string_view text);

/// "frame", "error-frame", "exchange", ...: what `kind` takes.
[[nodiscard]] const std::vector<std::string>& kindNames();
/// Of an event that is not an error frame; "event" if it has no name.
[[nodiscard]] const char* nameOf(event::Kind kind);

struct Hit {
  std::uint64_t sequence = 0;  ///< concluded: of the event after which it was concluded
  Ns t_ns = kNoTime;           ///< UTC
  std::uint16_t link = event::kNoLink;
  std::string kind;  ///< one of kindNames()
  bool outbound = false;
  std::string text;  ///< capture::describe()
};

/// Follows a census; messages and exchanges are those that the census concludes, not those of the file. One
/// owner, one thread.
class Search : public Follower {
 public:
  Search(Query query, std::function<void(const Hit&)> found)
      : query_(std::move(query)), found_(std::move(found)) {}

  void frame(const event::Header& h, Ns t_ns, const event::CanFrame& frame, std::uint32_t wire_bits,
             Ns wire_ns) override;
  void record(const event::Batch& batch, const event::Header& h, Ns t_ns) override;
  void message(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const event::Message& message) override;
  void exchange(std::uint64_t sequence, std::uint16_t link, Ns t_ns,
                const event::Exchange& exchange) override;

  [[nodiscard]] std::uint64_t count() const { return count_; }

 private:
  [[nodiscard]] bool wanted(std::string_view kind, std::uint16_t link, Ns t_ns);
  template <class T>
  void concluded(std::uint64_t sequence, std::uint16_t link, Ns t_ns, const T& record);
  void tell(std::string_view kind, const event::Batch& batch, const event::Header& h, Ns t_ns);

  Query query_;
  std::function<void(const Hit&)> found_;
  Ns first_ns_ = kNoTime;
  std::uint64_t count_ = 0;
};

/// How many were found, and whether bytes of the file could not be read. ErrorKind::input as reviewFile().
struct Searched {
  std::uint64_t found = 0;
  bool damaged = false;
};
/// `go_on`, asked now and then: false ends the search.
[[nodiscard]] Result<Searched> searchFile(const std::string& path, const Query& query, const job::Job* hints,
                                          const std::function<void(const Hit&)>& found,
                                          const std::function<bool()>& go_on = {});

}  // namespace pin16::review
