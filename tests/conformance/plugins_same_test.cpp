// SPDX-License-Identifier: Apache-2.0
// What plugins conclude does not depend on where the stream is cut, on the number of threads, or on whether
// the capture is read or played: the same to the last digit, on every capture at hand.
#include <gtest/gtest.h>
#include <sys/wait.h>

#include <boost/json.hpp>
#include <cstdlib>
#include <filesystem>

#include "core/capture/reader.hpp"
#include "core/job/job.hpp"
#include "core/review/plugged.hpp"
#include "core/review/plugins_json.hpp"
#include "core/review/review.hpp"

namespace pin16::review {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;

/// A capture's events, each with its payload, free of the batches they were read in.
struct Flat {
  std::vector<event::Header> headers;
  std::vector<Bytes> payloads;
};
Flat readAll(const std::string& path) {
  Flat out;
  auto reader = capture::Reader::open(path);
  EXPECT_TRUE(reader) << path;
  if (!reader) return out;
  for (event::Batch b; (*reader)->next(b);)
    for (const event::Header& h : b.headers) {
      const ByteView p = b.payload(h);
      out.headers.push_back(h);
      out.payloads.emplace_back(p.begin(), p.end());
    }
  return out;
}

std::string resultsOf(const Flat& all, const job::Job& job, unsigned threads, std::uint64_t seed) {
  auto host = plugin::Host::start({{}, false, threads, false}, job);
  EXPECT_TRUE(host) << host.error().text();
  Census census(job.limits);
  if (job.module.address)
    census.hint(job.module.address->request_id, job.module.address->answer_id, job.module.address->extended);
  census.assumeBitrate(job.bus.bitrate.value_or(0));
  Plugged plugged(**host);
  census.follow(plugged);
  event::Batch batch;
  std::size_t left = 0;
  for (std::size_t i = 0; i < all.headers.size(); ++i) {
    if (left == 0) {
      if (!batch.headers.empty()) census.take(batch);
      // Live sources hand over what they have; so does this.
      if (seed % 3 == 0) plugged.flush();
      batch.clear();
      seed = seed * 6364136223846793005ULL + 1442695040888963407ULL;
      // 1 to 65536, each power of two as likely.
      left = 1 + (seed >> 20U) % (std::uint64_t{1} << (1 + (seed >> 59U) % 16));
    }
    const event::Header& h = all.headers[i];
    batch.addRaw(h.sequence, h.t_ns, h.link, h.kind, all.payloads[i], h.flags);
    batch.headers.back().wire_bits = h.wire_bits;
    --left;
  }
  if (!batch.headers.empty()) census.take(batch);
  const Summary summary = census.finish();
  plugged.flush();
  return json::serialize(pluginsValue((*host)->finish(summary.last_ns)));
}

/// Times from the run's first event on; numbers of events, which a replay counts anew, taken out.
json::value relative(const json::value& v, Ns origin_ns) {
  if (v.is_array()) {
    json::array out;
    for (const json::value& e : v.as_array()) out.push_back(relative(e, origin_ns));
    return out;
  }
  if (!v.is_object()) return v;
  json::object out;
  for (const auto& [key, value] : v.as_object()) {
    if (key == "events") continue;
    if (key == "t_ns" && value.is_int64())
      out[key] = value.as_int64() - origin_ns;
    else
      out[key] = relative(value, origin_ns);
  }
  return out;
}

struct Source {
  std::string name;
  std::string scenario;  ///< of the bench; else `file`
  std::string file;
  friend std::ostream& operator<<(std::ostream& out, const Source& s) { return out << s.name; }
};
std::vector<Source> sources() {
  std::vector<Source> out;
  for (const auto& entry : fs::directory_iterator(PIN16_SOURCE_DIR "/captures"))
    if (entry.path().extension() == ".pcapng")
      out.push_back({entry.path().stem().string(), "", entry.path().string()});
  for (const auto& entry : fs::directory_iterator(PIN16_SOURCE_DIR "/captures/scenarios"))
    if (fs::exists(entry.path() / "scenario.toml"))
      out.push_back({entry.path().filename().string(), entry.path().string(), ""});
  return out;
}

class PluginsSame : public ::testing::TestWithParam<Source> {
 protected:
  void SetUp() override {
    std::string name = (fs::temp_directory_path() / "pin16-same-XXXXXX").string();
    ASSERT_NE(mkdtemp(name.data()), nullptr);
    dir_ = name;
    setenv("PIN16_PROGRAM", PIN16_BINARY, 1);
    setenv("XDG_DATA_HOME", (dir_ / "data").c_str(), 1);
    setenv("XDG_RUNTIME_DIR", dir_.c_str(), 1);
    file_ = GetParam().file;
    if (file_.empty()) file_ = listen("bench:" + GetParam().scenario, "capture", "--for 1.5");
    const std::string job = GetParam().scenario + "/job.toml";
    if (fs::exists(job)) {
      auto read = job::readJob(job);
      ASSERT_TRUE(read) << read.error().text();
      job_ = *std::move(read);
    }
  }
  void TearDown() override { fs::remove_all(dir_); }
  std::string listen(const std::string& uri, const std::string& name, const std::string& more) {
    const std::string to = (dir_ / (name + ".pcapng")).string();
    const std::string command = std::string(PIN16_BINARY) + " listen '" + uri + "' --no-plugins " + more +
                                " -o '" + to + "' >'" + (dir_ / "out").string() + "' 2>&1 </dev/null";
    const int status = std::system(command.c_str());
    // 3: the interface of this scenario never came up; the recording is there all the same.
    EXPECT_TRUE(WIFEXITED(status) && (WEXITSTATUS(status) == 0 || WEXITSTATUS(status) == 3))
        << command << " ended with " << status;
    return to;
  }
  fs::path dir_;
  std::string file_;
  job::Job job_;
};

/// What was on a line: requests of ours and another tester's, answers in several messages, a silent one, a
/// gap; every second message more from a second module.
Flat lineTraffic(event::Medium medium) {
  Flat out;
  Ns t_ns = 1'790'000'000'000'000'000;
  const auto add = [&](const auto& record, double after_ms) {
    t_ns += fromMs(after_ms);
    event::Header h;
    h.sequence = out.headers.size() + 1;
    h.t_ns = t_ns;
    h.link = 0;
    h.kind = event::kKindOf<std::decay_t<decltype(record)>>;
    out.headers.push_back(h);
    out.payloads.push_back(pack(record));
  };
  event::LinkState up;
  up.uri = "kline:/dev/ttyUSB0";
  up.condition = event::LinkCondition::up;
  up.medium = medium;
  add(up, 0);
  const bool kwp = medium == event::Medium::iso14230_4;
  const auto line = [&](bool request, std::uint8_t who, Bytes data, double after_ms, bool ours = true) {
    event::Line m;
    m.medium = medium;
    m.ours = request && ours;
    m.header = kwp ? Bytes{static_cast<std::uint8_t>((request ? 0xC0 : 0x80) + data.size()),
                           static_cast<std::uint8_t>(request ? 0x33 : 0xF1), who}
                   : Bytes{static_cast<std::uint8_t>(request ? 0x68 : 0x48),
                           static_cast<std::uint8_t>(request ? 0x6A : 0x6B), who};
    m.data = std::move(data);
    m.first_ns = t_ns + fromMs(after_ms - 5);
    add(m, after_ms);
  };
  for (int round = 0; round < 40; ++round) {
    line(true, 0xF1, {0x01, 0x00}, 300, round % 4 != 3);
    if (round % 5 != 4) line(false, 0x10, {0x41, 0x00, 0xBE, 0x3E, 0xB8, 0x11}, 20 + round);
    if (round % 2 == 1) line(false, 0xA9, {0x41, 0x00, 0x80, 0x00, 0x00, 0x01}, 12);
    line(true, 0xF1, {0x09, 0x02}, 400);
    for (std::uint8_t part = 1; part <= 5; ++part)
      line(false, 0x10, {0x49, 0x02, part, 0x31, 0x31, 0x31, 0x31}, 30);
    if (kwp) line(true, 0xF1, {0x3E}, 2500);
    if (round == 20) add(event::Gap{t_ns, t_ns + fromMs(500), "unplugged"}, 500);
  }
  return out;
}

TEST(PluginsSameOnALine, ForEveryCutAndBothNumbersOfThreads) {
  job::Job job;
  job.module.line_address = 0xA9;
  for (const auto medium : {event::Medium::iso14230_4, event::Medium::iso9141_2, event::Medium::j1850_vpw}) {
    const Flat all = lineTraffic(medium);
    const std::string expected = resultsOf(all, job, 1, 0);
    EXPECT_NE(expected.find("address A9"), std::string::npos) << "the plugins have seen it";
    EXPECT_NE(expected.find("address 10 response, median"), std::string::npos);
    for (std::uint64_t seed = 1; seed <= 20; ++seed)
      ASSERT_EQ(resultsOf(all, job, 1 + seed % 2, seed), expected) << "seed " << seed;
  }
}

TEST_P(PluginsSame, ForEveryCutAndBothNumbersOfThreads) {
  const Flat all = readAll(file_);
  ASSERT_FALSE(all.headers.empty());
  const auto whole = reviewFile(file_, &job_);
  ASSERT_TRUE(whole) << whole.error().text();
  ASSERT_EQ(whole->plugins.size(), plugin::shippedNames().size());
  const std::string expected = json::serialize(pluginsValue(whole->plugins));
  for (std::uint64_t seed = 1; seed <= 20; ++seed)
    ASSERT_EQ(resultsOf(all, job_, 1 + seed % 2, seed), expected) << "seed " << seed;
}

TEST_P(PluginsSame, ThroughTheReplayLink) {
  const Flat all = readAll(file_);
  std::uint16_t links = 0;
  for (const event::Header& h : all.headers)
    if (h.kind == event::Kind::frame)
      links = std::max<std::uint16_t>(links, static_cast<std::uint16_t>(h.link + 1));
  if (links > 1) GTEST_SKIP() << "a replay plays one link of several";
  const std::string played = listen("replay:" + file_ + "?pace=fast", "played", "--for 2");
  const auto once = reviewFile(file_, &job_), again = reviewFile(played, &job_);
  ASSERT_TRUE(once && again);
  const auto shape = [](const Summary& s, Ns origin_ns) {
    std::string text =
        json::serialize(relative(json::parse(json::serialize(pluginsValue(s.plugins))), origin_ns));
    return text;
  };
  // The first frame is the same moment in both.
  const auto origin = [](const Flat& f) {
    for (const event::Header& h : f.headers)
      if (h.kind == event::Kind::frame || h.kind == event::Kind::sample) return h.t_ns;
    return Ns{0};
  };
  EXPECT_EQ(shape(*once, origin(all)), shape(*again, origin(readAll(played))));
}

INSTANTIATE_TEST_SUITE_P(Captures, PluginsSame, ::testing::ValuesIn(sources()), [](const auto& i) {
  std::string name = i.param.name;
  std::replace(name.begin(), name.end(), '-', '_');
  return name;
});

}  // namespace
}  // namespace pin16::review
