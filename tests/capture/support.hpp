// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Shared by the tests of core/capture. The file builders are written from draft-ietf-opsawg-pcapng and
/// pcap-savefile(5), on purpose without a line of core/capture.

#include <gtest/gtest.h>
#include <sys/wait.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <string>
#include <vector>

#include "core/capture/reader.hpp"
#include "core/capture/writer.hpp"

namespace pin16::capture::testing {

/// A directory of its own for each test.
class CaptureTest : public ::testing::Test {
 protected:
  CaptureTest() {
    std::string name = (std::filesystem::temp_directory_path() / "pin16-capture-XXXXXX").string();
    if (mkdtemp(name.data()) != nullptr) dir_ = name;
  }
  ~CaptureTest() override {
    std::error_code ignored;
    std::filesystem::remove_all(dir_, ignored);
  }
  void SetUp() override { ASSERT_FALSE(dir_.empty()); }
  [[nodiscard]] std::string path(const std::string& name) const { return (dir_ / name).string(); }
  [[nodiscard]] std::string save(const std::string& name, ByteView bytes) const {
    std::ofstream out(path(name), std::ios::binary);
    out.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    return path(name);
  }
  std::filesystem::path dir_;
};

inline Bytes contents(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

/// Standard output of a shell command; a failure of the test if the tool is missing or fails.
inline std::string runTool(const std::string& command) {
  std::string out;
  FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) {
    ADD_FAILURE() << "cannot run: " << command;
    return out;
  }
  char part[4096];
  for (std::size_t n = 0; (n = fread(part, 1, sizeof part, pipe)) != 0;) out.append(part, n);
  const int status = pclose(pipe);
  EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0)
      << command << "\nended with status " << status << " (is the tool installed?)\n"
      << out;
  return out;
}

inline std::vector<std::string> linesOf(const std::string& text) {
  std::vector<std::string> out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    out.push_back(text.substr(at, end - at));
    at = end + 1;
  }
  return out;
}

struct Event {
  event::Header header;
  Bytes payload;
  template <class T>
  [[nodiscard]] T as() const {
    T r;
    EXPECT_TRUE(unpack(ByteView(payload), r));
    return r;
  }
  [[nodiscard]] event::CanFrame frame() const {
    const auto f = event::Batch::readFrame(payload);
    EXPECT_TRUE(f.has_value());
    return f.value_or(event::CanFrame{});
  }
};

/// A whole file.
struct All {
  std::vector<Event> events;
  std::vector<LinkFacts> links;
  Skipped skipped;
  SectionFacts section;
  std::uint64_t foreign_losses = 0;

  [[nodiscard]] std::vector<Event> of(event::Kind kind) const {
    std::vector<Event> out;
    for (const Event& e : events)
      if (e.header.kind == kind) out.push_back(e);
    return out;
  }
  [[nodiscard]] std::vector<event::Damage> damage() const {
    std::vector<event::Damage> out;
    for (const Event& e : of(event::Kind::damage)) out.push_back(e.as<event::Damage>());
    return out;
  }
};

inline All readAll(const std::string& path) {
  All all;
  auto r = Reader::open(path);
  if (!r) {
    ADD_FAILURE() << r.error().text();
    return all;
  }
  event::Batch batch;
  while ((*r)->next(batch)) {
    EXPECT_LE(batch.headers.size(), event::kBatchEvents);
    EXPECT_EQ(batch.utc_offset_ns, 0);
    for (const event::Header& h : batch.headers) {
      const ByteView p = batch.payload(h);
      all.events.push_back({h, Bytes(p.begin(), p.end())});
    }
  }
  EXPECT_FALSE((*r)->next(batch)) << "the end stays the end";
  all.links = (*r)->links();
  all.skipped = (*r)->skipped();
  all.section = (*r)->section();
  for (const capture::LinkFacts& l : (*r)->links())
    if (!l.ours) all.foreign_losses += l.statistics.dropped + l.statistics.os_dropped;
  return all;
}

/// Bytes of a file in either byte order.
class FileBytes {
 public:
  explicit FileBytes(bool big_endian = false) : big_(big_endian) {}
  Bytes bytes;

  template <class T>
  FileBytes& put(T value) {
    for (std::size_t i = 0; i < sizeof(T); ++i) {
      const std::size_t shift = 8 * (big_ ? sizeof(T) - 1 - i : i);
      bytes.push_back(static_cast<std::uint8_t>(static_cast<std::uint64_t>(value) >> shift));
    }
    return *this;
  }
  FileBytes& u16(std::uint16_t v) { return put(v); }
  FileBytes& u32(std::uint32_t v) { return put(v); }
  FileBytes& u64(std::uint64_t v) { return put(v); }
  FileBytes& raw(ByteView v) {
    bytes.insert(bytes.end(), v.begin(), v.end());
    return *this;
  }
  FileBytes& padded(ByteView v) {
    raw(v);
    while (bytes.size() % 4 != 0) bytes.push_back(0);
    return *this;
  }
  FileBytes& option(std::uint16_t code, ByteView v) {
    u16(code).u16(static_cast<std::uint16_t>(v.size()));
    return padded(v);
  }
  FileBytes& text(std::uint16_t code, const std::string& v) {
    return option(code, Bytes(v.begin(), v.end()));
  }
  FileBytes& endOptions() { return u16(0).u16(0); }
  [[nodiscard]] FileBytes fresh() const { return FileBytes(big_); }

  FileBytes& block(std::uint32_t type, const FileBytes& body) {
    const auto length = static_cast<std::uint32_t>(body.bytes.size() + 12);
    return u32(type).u32(length).raw(body.bytes).u32(length);
  }
  FileBytes& section(std::uint64_t length = UINT64_MAX, std::uint16_t major = 1) {
    return block(0x0A0D0D0A, fresh().u32(0x1A2B3C4D).u16(major).u16(0).u64(length));
  }
  FileBytes& interface(std::uint16_t linktype, const FileBytes& options, std::uint32_t snaplen = 0) {
    return block(1, fresh().u16(linktype).u16(0).u32(snaplen).raw(options.bytes));
  }
  FileBytes& can(const std::string& name, std::uint8_t tsresol = 9) {
    const std::uint8_t resolution[] = {tsresol};
    return interface(227, fresh().text(2, name).option(9, resolution).endOptions());
  }
  FileBytes& packet(std::uint32_t interface, std::uint64_t ticks, ByteView data, const FileBytes& options) {
    FileBytes body = fresh();
    body.u32(interface).u32(static_cast<std::uint32_t>(ticks >> 32U)).u32(static_cast<std::uint32_t>(ticks));
    body.u32(static_cast<std::uint32_t>(data.size()))
        .u32(static_cast<std::uint32_t>(data.size()))
        .padded(data);
    return block(6, body.raw(options.bytes));
  }
  FileBytes& packet(std::uint32_t interface, std::uint64_t ticks, ByteView data) {
    return packet(interface, ticks, data, fresh());
  }
  FileBytes& pcapHeader(std::uint32_t magic, std::uint32_t linktype) {
    return u32(magic).u16(2).u16(4).u32(0).u32(0).u32(262144).u32(linktype);
  }
  FileBytes& pcapRecord(std::uint32_t seconds, std::uint32_t fraction, ByteView data) {
    const auto n = static_cast<std::uint32_t>(data.size());
    return u32(seconds).u32(fraction).u32(n).u32(n).raw(data);
  }

 private:
  bool big_;
};

/// A classic frame with an 11-bit identifier as LINKTYPE_CAN_SOCKETCAN has it.
inline Bytes canBytes(std::uint16_t id, const Bytes& data) {
  Bytes out{0,
            0,
            static_cast<std::uint8_t>(id >> 8U),
            static_cast<std::uint8_t>(id),
            static_cast<std::uint8_t>(data.size()),
            0,
            0,
            0};
  out.insert(out.end(), data.begin(), data.end());
  return out;
}

constexpr Ns kStart_boot_ns = 1'000 * kNsPerSecond;
constexpr Ns kOffset_ns = 1'795'000'000 * kNsPerSecond + 123'456'789;

inline SectionFacts facts() {
  return {"pin16 test", "an operating system", "a machine", "a comment", kOffset_ns};
}

inline event::LinkState upState(const std::string& uri) {
  event::LinkState s;
  s.uri = uri;
  s.description = "CAN interface";
  s.condition = event::LinkCondition::up;
  s.bitrate = 500000;
  s.fd = event::Known::no;
  s.listen_only = event::Known::yes;
  s.silence = event::Silence::proven;
  s.controller = "error-active";
  s.time_origin = "kernel";
  return s;
}

/// Writes and finishes a capture of one batch.
inline void record(const std::string& path, const event::Batch& batch) {
  auto w = Writer::create(path, facts());
  ASSERT_TRUE(w) << w.error().text();
  const Status taken = (*w)->take(batch);
  ASSERT_TRUE(taken) << taken.error().text();
  const Status finished = (*w)->finish();
  ASSERT_TRUE(finished) << finished.error().text();
}

/// One event of every kind that a recording can hold, two links.
inline event::Batch everyKind() {
  using namespace event;
  Batch b;
  std::uint64_t n = 100;
  Ns t = kStart_boot_ns;
  const auto add = [&](std::uint16_t link, Kind kind, const auto& record) {
    b.add(++n, t += kNsPerMs, link, kind, record);
  };
  const auto frame = [&](std::uint16_t link, const CanFrame& f, std::uint8_t flags = 0) {
    b.addFrame(++n, t += kNsPerMs, link, f, flags);
  };
  add(kNoLink, Kind::clock, Clock{kStart_boot_ns, kStart_boot_ns + kOffset_ns, Known::yes, 1000});
  add(0, Kind::link, upState("socketcan:can0"));
  add(1, Kind::link, upState("socketcan:can1"));
  frame(0, CanFrame::make(0x7E8, false, Bytes{0x03, 0x41, 0x0C, 0x1A}));
  frame(1, CanFrame::make(0x18DAF110, true, Bytes{1, 2, 3, 4, 5, 6, 7, 8}), kOutbound);
  frame(0, CanFrame::make(0x123, false, Bytes(48, 0xA5), true));
  frame(0, CanFrame::make(0x124, false, Bytes{9}, true));
  CanFrame remote = CanFrame::make(0x321, false, {});
  remote.word |= kRemoteFlag;
  remote.length = 4;
  frame(1, remote);
  CanFrame error = CanFrame::make(0, false, Bytes{0, 0, 2, 0, 0, 0, 0, 0});
  error.word = kErrorFlag | 0x88;
  frame(0, error);
  frame(0, CanFrame::make(0x7DF, false, {}));
  b.addRaw(++n, t += kNsPerMs, 1, Kind::bytes, Bytes{0xC1, 0x33, 0xF1, 0x81}, kOutbound);
  Measurement m{"V(pin16,pin4)", 12.47,     "V",  0.02, PowerState::on,
                "10 ohm load",   "meter 1", 10e6, "",   20 * kNsPerMs};
  add(kNoLink, Kind::sample, m);
  m.by = "operator";
  add(kNoLink, Kind::reading, m);
  add(0, Kind::loss, Loss{LossPlace::kernel, 5});
  add(0, Kind::loss, Loss{LossPlace::queue, 7});
  add(1, Kind::gap, Gap{t - 3 * kNsPerSecond, t, "link vanished"});
  Bytes asked;
  Batch::writeFrame(asked, CanFrame::make(0x7DF, false, Bytes{2, 9, 2}));
  add(0, Kind::sent, Sent{asked, "request 09 02"});
  add(0, Kind::refused, Refused{"10 03", "session control is not on the list"});
  add(kNoLink, Kind::power, Power{PowerState::on, "declared", "key on"});
  add(kNoLink, Kind::client, Client{"pin16 check", false, "killed"});
  add(kNoLink, Kind::note, Note{"lamp lit\nthen dark \xC3\xA4", "operator"});
  add(0, Kind::message, Message{0x7E8, false, true, Bytes(20, 0x49), "", t});
  Exchange x;
  x.request_id = 0x7E0;
  x.answer_id = 0x7E8;
  x.ours = true;
  x.request = {0x22, 0xF1, 0x90};
  x.answer = {0x62, 0xF1, 0x90};
  x.ended = Ended::answered;
  x.late = true;
  x.pending = 2;
  x.response_ms = 12.5;
  x.complete_ms = 30.25;
  x.request_ns = t - kNsPerMs;
  x.confirmed = true;
  x.handed_ns = t - 2 * kNsPerMs;
  add(0, Kind::exchange, x);
  add(kNoLink, Kind::finding, Finding{"readiness", "late-answer", "answers are late"});
  add(kNoLink, Kind::verdict, Verdict{"answer", "marginal", "late"});
  return b;
}

}  // namespace pin16::capture::testing
