// SPDX-License-Identifier: Apache-2.0
#include "core/capture/verify.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cstring>
#include <fstream>

#include "core/capture/hash.hpp"
#include "core/capture/window.hpp"

namespace pin16::capture {
namespace {

constexpr std::size_t kReadAtOnce = 1U << 20U;

/// What is left of a line-wise file: a line cut off by a crash is not one.
std::optional<std::string> nextLine(std::ifstream& in) {
  std::string line;
  if (!std::getline(in, line) || in.eof()) return std::nullopt;
  return line;
}

/// The lines of FILE.blocks, as long as they follow each other without a hole.
class BlockLines {
 public:
  explicit BlockLines(const std::string& path) : in_(blocksPath(path)), present_(in_.is_open()) {}
  [[nodiscard]] bool present() const { return present_; }
  std::optional<BlockLine> next() {
    const auto line = nextLine(in_);
    auto entry = line ? BlockLine::parse(*line) : std::nullopt;
    if (!entry || entry->index != index_ || entry->offset != index_ * kHashBlock || entry->length == 0 ||
        entry->length > kHashBlock)
      return std::nullopt;
    ++index_;
    return entry;
  }

 private:
  std::ifstream in_;
  const bool present_;
  std::uint64_t index_ = 0;
};

/// Adds [offset, offset + length) to both hashes; returns how much of it is there.
std::uint64_t hashRange(Window& file, Range range, Sha256& total, Sha256& block) {
  std::uint64_t done = 0;
  while (done < range.length) {
    const auto want = static_cast<std::size_t>(std::min<std::uint64_t>(range.length - done, kReadAtOnce));
    const auto bytes = file.at(range.offset + done, want);
    total.add(bytes);
    block.add(bytes);
    done += bytes.size();
    if (bytes.size() < want) break;
  }
  return done;
}

std::string finding(const VerifyReport& r) {
  const auto range = [](const Range& x) {
    return fmt::format("bytes {} to {}", x.offset, x.offset + x.length);
  };
  if (r.whole) {
    if (!r.first_difference) return "whole: agrees with the sum written at the end of the recording";
    return "whole: agrees with the sum written at the end of the recording; the block hashes beside it do "
           "not, "
           "so that sidecar was changed";
  }
  if (!r.sum_present && !r.blocks_present) return "nothing vouches for this file: both sidecars are missing";
  std::string out;
  if (r.first_difference) {
    out =
        r.first_difference->length == 0
            ? fmt::format("changed: the file ends at byte {}, more was recorded", r.first_difference->offset)
            : fmt::format("changed: {} are the first range that differs", range(*r.first_difference));
  } else if (!r.sum_present) {
    out = fmt::format("not ended properly (no sum): the first {} bytes agree with their hashes",
                      r.vouched_bytes);
  } else if (r.blocks_present && r.vouched_bytes != 0) {
    out = fmt::format("changed: the sum differs, though the first {} bytes agree with their hashes",
                      r.vouched_bytes);
  } else {
    out = "changed: the sum differs; no block hashes tell where";
  }
  if (r.unvouched) out += fmt::format("; nothing vouches for {}", range(*r.unvouched));
  return out;
}

}  // namespace

Result<VerifyReport> verify(const std::string& path) {
  Window file;
  if (auto opened = file.open(path); !opened) return opened.error();
  VerifyReport r;
  Sha256 total;
  Sha256 block;
  BlockLines lines(path);
  r.blocks_present = lines.present();
  std::uint64_t covered = 0;
  while (const auto entry = lines.next()) {
    const std::uint64_t there = hashRange(file, {entry->offset, entry->length}, total, block);
    const bool agrees = block.finish() == entry->hex && there == entry->length;
    covered = entry->offset + there;
    if (agrees && !r.first_difference) r.vouched_bytes = covered;
    if (!agrees && !r.first_difference) r.first_difference = Range{entry->offset, there};
    if (there < entry->length) break;
  }
  const std::uint64_t rest = hashRange(file, {covered, UINT64_MAX - covered}, total, block);
  r.size_bytes = covered + rest;
  if (file.error() != 0) {
    return Error{ErrorKind::input,
                 fmt::format("cannot be read at byte {}: {}", r.size_bytes, std::strerror(file.error())),
                 path, "Copy the file to another disk and verify the copy"};
  }
  if (rest != 0) r.unvouched = Range{covered, rest};

  std::ifstream sum_file(sumPath(path));
  const auto line = nextLine(sum_file);
  const auto sum = line ? sumOfLine(*line) : std::nullopt;
  r.sum_present = sum.has_value();
  r.sum_agrees = sum && *sum == total.finish();
  r.whole = r.sum_agrees;
  if (r.whole) {
    r.vouched_bytes = r.size_bytes;
    r.unvouched.reset();
  }
  r.text = finding(r);
  return r;
}

}  // namespace pin16::capture
