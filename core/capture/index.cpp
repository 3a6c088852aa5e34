// SPDX-License-Identifier: Apache-2.0
#include "core/capture/index.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <span>

#include "core/capture/hash.hpp"
#include "core/capture/index_builder.hpp"

namespace pin16::capture {
namespace {

namespace fs = std::filesystem;
using event::Header;

/// Of `t_ns` over things in order of `times`: how many lie before the place that leaves fewest on the wrong
/// side. Without a step back in time that is the first at or after `t_ns`.
std::size_t split(std::span<const Ns> times, Ns t_ns) {
  std::size_t behind = 0;  // not yet passed, earlier than t: wrong if the place were here
  for (const Ns t : times) behind += t != kNoTime && t < t_ns ? 1 : 0;
  std::size_t best = 0, wrong_at_best = behind, wrong = behind;
  for (std::size_t i = 0; i < times.size(); ++i) {
    if (times[i] == kNoTime) continue;
    if (times[i] < t_ns)
      --wrong;
    else
      ++wrong;
    if (wrong < wrong_at_best) wrong_at_best = wrong, best = i + 1;
  }
  while (best < times.size() && times[best] == kNoTime) ++best;
  return best;
}

constexpr std::string_view kMagic = "pin16 index 1\n";
constexpr std::size_t kSum = 64;  // hex of SHA-256
constexpr std::size_t kEnd = 64U << 10U;

struct Cached {
  FileFacts file;
  Index index;
  template <class A>
  void fields(A& a) {
    a(file), a(index);
  }
};

std::string sumOf(ByteView bytes) {
  Sha256 sum;
  sum.add(bytes);
  return sum.finish();
}

std::string cacheFile(const std::string& path) {
  const ByteView name(reinterpret_cast<const std::uint8_t*>(path.data()), path.size());
  return indexFolder() + "/" + sumOf(name).substr(0, 32) + ".index";
}

Error noIndex(const std::string& why, const std::string& file) {
  return {ErrorKind::input, why, file, "it is made anew from the capture"};
}

/// An index that does not fit into its file would read elsewhere: it is not trusted.
bool fits(const Index& index, std::uint64_t size) {
  std::uint64_t first = 0, offset = 0;
  for (const Mark& m : index.marks) {
    if (m.first < first || m.place.offset < offset || m.place.offset > size || m.first >= index.events)
      return false;
    first = m.first + 1;
    offset = m.place.offset;
  }
  for (const Place& p : index.structure)
    if (p.offset > size) return false;
  return index.end.offset <= size && index.events_before_end <= index.events;
}

void thinOut(const std::string& folder) {
  std::error_code fault;
  std::vector<std::pair<fs::file_time_type, fs::path>> all;
  for (const auto& entry : fs::directory_iterator(folder, fault))
    if (entry.path().extension() == ".index") all.emplace_back(entry.last_write_time(fault), entry.path());
  std::sort(all.begin(), all.end());
  for (std::size_t i = 0; i + kMaxCached < all.size(); ++i) fs::remove(all[i].second, fault);
}

}  // namespace

void Index::append(Index part) {
  marks.insert(marks.end(), part.marks.begin(), part.marks.end());
  structure.insert(structure.end(), part.structure.begin(), part.structure.end());
  events = part.events;
  end = part.end;
  events_before_end = part.events_before_end;
  first_ns = part.first_ns;
  last_ns = part.last_ns;
  whole = part.whole;
}

Browser::Browser()
    : window_(std::make_unique<Window>()),
      facts_(std::make_unique<CaptureFacts>()),
      builder_(std::make_unique<IndexBuilder>()) {}
Browser::~Browser() = default;

Result<std::unique_ptr<Browser>> Browser::open(const std::string& path) {
  std::unique_ptr<Browser> b(new Browser);
  b->path_ = path;
  if (Status opened = b->window_->open(path); !opened) return opened.error();
  auto decoder = Reader::decoderFor(*b->window_, *b->facts_, path);
  if (!decoder) return decoder.error();
  b->decoder_ = std::move(*decoder);
  b->index_.end = b->begin_ = b->decoder_->place();
  return b;
}

void Browser::forget() {
  index_ = {};
  index_.end = begin_;
  strayed_ = true;
}

void Browser::goTo(const Place& place) {
  const auto before = [&](std::uint64_t offset) {
    return std::lower_bound(index_.structure.begin(), index_.structure.end(), offset,
                            [](const Place& p, std::uint64_t o) { return p.offset < o; }) -
           index_.structure.begin();
  };
  auto taken = before(decoder_->offset());
  const auto wanted = before(place.offset);
  if (taken > wanted || strayed_) {
    strayed_ = false;
    *facts_ = {};
    // It could be made once: only a file that has changed its beginning meanwhile could not be begun again.
    if (auto anew = Reader::decoderFor(*window_, *facts_, path_)) decoder_ = std::move(*anew);
    taken = 0;
  }
  for (; taken < wanted; ++taken) {
    decoder_->go(index_.structure[static_cast<std::size_t>(taken)]);
    scratch_.clear();
    (void)decoder_->step(scratch_);
  }
  decoder_->go(place);
}

bool Browser::grow(std::uint64_t most_bytes) {
  const std::uint64_t had = index_.events;
  if (!index_.whole) return false;
  goTo(index_.end);
  builder_->goOn(index_);
  const std::uint64_t until = index_.end.offset + most_bytes;
  scratch_.clear();
  while (decoder_->offset() < until) {
    if (scratch_.headers.size() >= event::kBatchEvents) scratch_.clear();
    if (!builder_->step(*decoder_, scratch_)) break;
  }
  index_.append(builder_->take());
  strayed_ = index_.events != index_.events_before_end;
  return index_.events != had;
}

void Browser::read(std::uint64_t first, std::size_t count, event::Batch& batch) {
  batch.clear();
  batch.utc_offset_ns = 0;
  const std::uint64_t last = std::min(index_.events, first + count);
  if (first >= last) return;
  const auto mark = std::upper_bound(index_.marks.begin(), index_.marks.end(), first,
                                     [](std::uint64_t n, const Mark& m) { return n < m.first; });
  // Damage ahead of the first mark is read from the start.
  std::uint64_t at = 0;
  Place from = begin_;
  if (mark != index_.marks.begin()) {
    at = std::prev(mark)->first;
    from = std::prev(mark)->place;
  }
  goTo(from);
  for (bool more = true; more && at < last;) {
    scratch_.clear();
    strayed_ = decoder_->offset() >= index_.end.offset;
    more = decoder_->step(scratch_);
    for (const Header& h : scratch_.headers) {
      if (at >= first && at < last) {
        batch.addRaw(h.sequence, h.t_ns, h.link, h.kind, scratch_.payload(h), h.flags);
        batch.headers.back().wire_bits = h.wire_bits;
      }
      ++at;
    }
  }
}

std::uint64_t Browser::at(Ns t_ns) {
  std::vector<Ns> times;
  times.reserve(index_.marks.size());
  for (const Mark& m : index_.marks) times.push_back(m.t_ns);
  const std::size_t block = split(times, t_ns);
  // A mark's own stamp may be the damaged one: its neighbours are looked at too.
  const std::uint64_t from = block < 2 ? 0 : index_.marks[block - 2].first;
  const std::uint64_t to = block + 1 < index_.marks.size() ? index_.marks[block + 1].first : index_.events;
  event::Batch batch;
  read(from, static_cast<std::size_t>(to - from), batch);
  times.clear();
  for (const Header& h : batch.headers) times.push_back(h.t_ns);
  return from + split(times, t_ns);
}

Result<FileFacts> factsOf(const std::string& path) {
  const int fd = ::open(path.c_str(), O_RDONLY | O_CLOEXEC);
  struct stat s {};
  if (fd < 0 || fstat(fd, &s) != 0) {
    if (fd >= 0) close(fd);
    return Error{ErrorKind::input, "cannot be read", path, "Check the name and that you may read it"};
  }
  FileFacts out;
  std::error_code fault;
  out.path = fs::absolute(path, fault).lexically_normal().string();
  out.size = static_cast<std::uint64_t>(s.st_size);
  out.changed_ns = Ns{s.st_mtim.tv_sec} * kNsPerSecond + s.st_mtim.tv_nsec;
  Sha256 sum;
  Bytes part(kEnd);
  for (const std::uint64_t at : {std::uint64_t{0}, out.size > kEnd ? out.size - kEnd : 0}) {
    const ssize_t n = pread(fd, part.data(), part.size(), static_cast<off_t>(at));
    if (n > 0) sum.add(ByteView(part).first(static_cast<std::size_t>(n)));
  }
  close(fd);
  out.ends = sum.finish();
  return out;
}

std::string indexFolder() {
  const char* cache = std::getenv("XDG_CACHE_HOME");
  if (cache != nullptr && *cache == '/') return std::string(cache) + "/pin16";
  const char* home = std::getenv("HOME");
  return std::string(home != nullptr ? home : "/nonexistent") + "/.cache/pin16";
}

Result<Index> loadIndex(const FileFacts& file) {
  const std::string name = cacheFile(file.path);
  std::ifstream in(name, std::ios::binary);
  if (!in) return noIndex("there is no index yet", name);
  const Bytes all{std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
  const std::string_view text(reinterpret_cast<const char*>(all.data()), all.size());
  if (all.size() < kMagic.size() + kSum || !text.starts_with(kMagic))
    return noIndex("is no index of this version", name);
  const ByteView packed = ByteView(all).subspan(kMagic.size() + kSum);
  if (sumOf(packed) != text.substr(kMagic.size(), kSum)) return noIndex("is a damaged index", name);
  Cached cached;
  if (!unpack(packed, cached) || !(cached.file == file) || !fits(cached.index, file.size))
    return noIndex("is the index of another file, or of an earlier state of it", name);
  return std::move(cached.index);
}

Status saveIndex(const FileFacts& file, const Index& index) {
  const auto now = factsOf(file.path);
  if (!now) return now.error();
  if (!(*now == file))
    return Error{ErrorKind::record, "has changed while it was read; its index is not kept", file.path, ""};
  const std::string name = cacheFile(file.path);
  std::error_code fault;
  fs::create_directories(indexFolder(), fault);
  const std::string fresh = fmt::format("{}.{}", name, getpid());
  const Bytes packed = pack(Cached{file, index});
  {
    std::ofstream out(fresh, std::ios::binary | std::ios::trunc);
    out << kMagic << sumOf(packed);
    out.write(reinterpret_cast<const char*>(packed.data()), static_cast<std::streamsize>(packed.size()));
    out.flush();
    if (!out) {
      fs::remove(fresh, fault);
      return Error{ErrorKind::record, "the index could not be kept", fresh,
                   "nothing is lost: it is made anew each time"};
    }
  }
  fs::rename(fresh, name, fault);
  if (fault) return Error{ErrorKind::record, "the index could not be kept: " + fault.message(), name, ""};
  thinOut(indexFolder());
  return {};
}

}  // namespace pin16::capture
