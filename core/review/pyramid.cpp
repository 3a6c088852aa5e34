// SPDX-License-Identifier: Apache-2.0
#include "core/review/pyramid.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

namespace pin16::review {

void Pyramid::append(Ns t_ns, double value) {
  if (!std::isfinite(value) || t_ns == kNoTime) return gap();
  if (!samples_.empty()) t_ns = std::max(t_ns, samples_.back().t_ns);
  if (gap_open_ || samples_.size() - done_ >= group_) closeGroup();
  if (samples_.size() >= most_) thin();
  if (gap_open_) gaps_.push_back(samples_.size());
  gap_open_ = false;
  samples_.push_back({t_ns, value});
  ++taken_;
  if (group_ == 1) note(done_++);
}

/// Of the group's samples the lowest and the highest are kept, in the order of time.
void Pyramid::closeGroup() {
  const auto from = samples_.begin() + static_cast<std::ptrdiff_t>(done_);
  if (from == samples_.end()) return;
  const auto by_value = [](const Sample& a, const Sample& b) { return a.value < b.value; };
  auto first = std::min_element(from, samples_.end(), by_value);
  auto second = std::max_element(from, samples_.end(), by_value);
  if (second < first) std::swap(first, second);
  const Sample kept[] = {*first, *second};
  const bool one = first == second;
  samples_.resize(done_);
  samples_.push_back(kept[0]);
  note(done_++);
  if (one) return;
  samples_.push_back(kept[1]);
  note(done_++);
}

/// The sample into every level above it. A level is begun when the one below it has a second node.
void Pyramid::note(std::size_t index) {
  const double v = samples_[index].value;
  std::size_t at = index / kFan;
  for (std::size_t level = 0;; ++level, at /= kFan) {
    if (level == levels_.size()) levels_.emplace_back();
    auto& nodes = levels_[level];
    if (nodes.empty() && level > 0) nodes.push_back(levels_[level - 1].front());
    if (at >= nodes.size())
      nodes.push_back({v, v});
    else
      nodes[at] = {std::min(nodes[at].min, v), std::max(nodes[at].max, v)};
    if (nodes.size() == 1 && level + 1 == levels_.size()) return;
  }
}

Pyramid::Extremes Pyramid::extremes(std::size_t from, std::size_t to) const {
  Extremes out{INFINITY, -INFINITY};
  const auto take = [&](const Extremes& e) {
    out.min = std::min(out.min, e.min);
    out.max = std::max(out.max, e.max);
  };
  for (; from < to && to > done_; --to) take({samples_[to - 1].value, samples_[to - 1].value});
  // Up the levels from both ends: at most 15 of a level at either.
  for (; from < to && from % kFan != 0; ++from) take({samples_[from].value, samples_[from].value});
  for (; from < to && to % kFan != 0; --to) take({samples_[to - 1].value, samples_[to - 1].value});
  from /= kFan;
  to /= kFan;
  for (const auto& nodes : levels_) {
    if (from >= to) break;
    for (; from < to && from % kFan != 0; ++from) take(nodes[from]);
    for (; from < to && to % kFan != 0; --to) take(nodes[to - 1]);
    if (&nodes == &levels_.back())
      for (; from < to; ++from) take(nodes[from]);
    from /= kFan;
    to /= kFan;
  }
  return out;
}

std::size_t Pyramid::indexAt(Ns t_ns) const {
  return static_cast<std::size_t>(std::lower_bound(samples_.begin(), samples_.end(), t_ns,
                                                   [](const Sample& s, Ns t) { return s.t_ns < t; }) -
                                  samples_.begin());
}

/// A gap before one of the samples (after_index, to_index].
bool Pyramid::gapIn(std::size_t after_index, std::size_t to_index) const {
  const auto at = std::upper_bound(gaps_.begin(), gaps_.end(), after_index);
  return at != gaps_.end() && *at <= to_index;
}

std::vector<Pyramid::Column> Pyramid::columns(Ns from_ns, Ns to_ns, std::size_t columns) const {
  std::vector<Column> out;
  if (columns == 0 || to_ns <= from_ns) return out;
  out.reserve(columns);
  const double width =
      (static_cast<double>(to_ns) - static_cast<double>(from_ns)) / static_cast<double>(columns);
  std::size_t i = indexAt(from_ns);
  for (std::size_t c = 0; c < columns; ++c) {
    Column column;
    column.from_ns = c == 0 ? from_ns : out.back().to_ns;
    column.to_ns = c + 1 == columns ? to_ns : from_ns + static_cast<Ns>(width * static_cast<double>(c + 1));
    const std::size_t j = std::max(i, indexAt(column.to_ns));
    if (j > i) {
      const Extremes e = extremes(i, j);
      column.count = j - i;
      column.min = e.min;
      column.max = e.max;
      column.first = samples_[i];
      column.last = samples_[j - 1];
      column.gap_before = i > 0 && gapIn(i - 1, i);
      column.gap_within = gapIn(i, j - 1);
    }
    out.push_back(column);
    i = j;
  }
  return out;
}

std::optional<Pyramid::Sample> Pyramid::before(Ns t_ns) const {
  const std::size_t i = indexAt(t_ns);
  return i == 0 ? std::nullopt : std::optional(samples_[i - 1]);
}

std::optional<Pyramid::Sample> Pyramid::after(Ns t_ns) const {
  const std::size_t i = indexAt(t_ns);
  return i == samples_.size() ? std::nullopt : std::optional(samples_[i]);
}

bool Pyramid::joined(Ns t_ns) const {
  const std::size_t i = indexAt(t_ns);
  return i > 0 && i < samples_.size() && !gapIn(i - 1, i);
}

std::size_t Pyramid::bytes() const {
  std::size_t out = samples_.capacity() * sizeof(Sample) + gaps_.capacity() * sizeof(std::size_t);
  for (const auto& l : levels_) out += l.capacity() * sizeof(Extremes);
  return out;
}

void Pyramid::thin() {
  closeGroup();
  group_ = group_ == 1 ? 4 : 2 * group_;
  const std::vector<Sample> all = std::exchange(samples_, {});
  const std::vector<std::size_t> gaps = std::exchange(gaps_, {});
  levels_.clear();
  samples_.reserve(all.size());
  auto next_gap = gaps.begin();
  for (std::size_t i = 0; i < all.size();) {
    const bool after_gap = next_gap != gaps.end() && *next_gap == i;
    if (after_gap) {
      ++next_gap;
      gaps_.push_back(samples_.size());
    }
    std::size_t end = std::min(all.size(), i + 4);
    if (next_gap != gaps.end()) end = std::min(end, *next_gap);
    std::size_t low = i, high = i;
    for (std::size_t k = i; k < end; ++k) {
      if (all[k].value < all[low].value) low = k;
      if (all[k].value > all[high].value) high = k;
    }
    samples_.push_back(all[std::min(low, high)]);
    if (low != high) samples_.push_back(all[std::max(low, high)]);
    i = end;
  }
  // Gaps everywhere, so that nothing could be joined: the older half is let go.
  if (samples_.size() > most_ - most_ / 4) {
    const std::size_t from = samples_.size() / 2;
    samples_.erase(samples_.begin(), samples_.begin() + static_cast<std::ptrdiff_t>(from));
    std::erase_if(gaps_, [&](std::size_t g) { return g <= from; });
    for (std::size_t& g : gaps_) g -= from;
  }
  for (done_ = 0; done_ < samples_.size(); ++done_) note(done_);
}

}  // namespace pin16::review
