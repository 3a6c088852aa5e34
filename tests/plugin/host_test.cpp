// SPDX-License-Identifier: Apache-2.0
// The interface and its host: what is refused before anything runs, what a plugin may give, what it may not
// do.
#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cstdlib>
#include <cstring>

#include "core/base/pack.hpp"
#include "core/plugin/apart.hpp"
#include "core/plugin/library.hpp"
#include "tests/plugin/stage.hpp"

namespace pin16::plugin {
namespace {

namespace fs = std::filesystem;
using testing::findingOf;
using testing::Stage;

/// A folder of its own, and nothing of the user's.
class PluginHost : public ::testing::Test {
 protected:
  PluginHost() {
    std::string name = (fs::temp_directory_path() / "pin16-plugin-XXXXXX").string();
    if (mkdtemp(name.data()) != nullptr) dir_ = name;
    setenv("PIN16_PROGRAM", PIN16_BINARY, 1);
    setenv("XDG_DATA_HOME", (dir_ / "data").c_str(), 1);
  }
  ~PluginHost() override {
    std::error_code ignored;
    fs::remove_all(dir_, ignored);
  }
  [[nodiscard]] std::string hostile(const std::string& mode) const {
    const fs::path to = dir_ / (mode + ".so");
    fs::copy_file(PIN16_HOSTILE, to, fs::copy_options::overwrite_existing);
    return to.string();
  }
  /// The stream that hostile plugins are shown.
  static Stage someFrames() {
    Stage s;
    for (int i = 0; i < 20; ++i) s.frame(i, 0x123, {1, 2, 3});
    return s;
  }
  Results runApartOver(const std::string& path, Ns patience_ns = 5 * kNsPerSecond) {
    auto runner = runApart(path, patience_ns);
    if (!runner) {
      Results none;
      none.failed = runner.error().text();
      return none;
    }
    const Stage s = someFrames();
    (*runner)->start({});
    for (const auto& c : s.chunks()) (*runner)->take(*c);
    (*runner)->finish(s.lastNs());
    return (*runner)->takeResults();
  }
  fs::path dir_;
};

// ---- before anything of a plugin runs

TEST_F(PluginHost, ShippedPluginsCarryAFittingCard) {
  for (const std::string& name : shippedNames()) {
    const Status s = checkCard(testing::shipped(name));
    EXPECT_TRUE(s) << s.error().text();
  }
}

/// The card's place in the file: its magic stands there once.
std::size_t cardOffset(const std::string& file) {
  constexpr pin16_card card = PIN16_CARD_HERE;
  const std::string wanted(reinterpret_cast<const char*>(&card), sizeof card);
  return file.find(wanted);
}
std::string slurp(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

TEST_F(PluginHost, AnotherMajorOrSizeIsRefusedUnloaded) {
  // exits-at-load would end this process if the library were opened.
  const std::string original = slurp(hostile("exits-at-load"));
  const std::size_t at = cardOffset(original);
  ASSERT_NE(at, std::string::npos);
  struct Change {
    std::size_t offset;
    std::uint32_t value;
    const char* says;
  };
  for (const Change& c : {Change{offsetof(pin16_card, major), 2, "interface 2"},
                          Change{offsetof(pin16_card, minor), 9, "interface 1.9"},
                          Change{offsetof(pin16_card, event_size), 40, "other sizes"},
                          Change{offsetof(pin16_card, magic), 1, "no pin16_plugin_card"}}) {
    std::string changed = original;
    std::memcpy(changed.data() + at + c.offset, &c.value, sizeof c.value);
    const std::string path = (dir_ / "exits-at-load.so").string();
    std::ofstream(path, std::ios::binary) << changed;
    const Status s = checkCard(path);
    ASSERT_FALSE(s) << c.says;
    EXPECT_NE(s.error().what.find(c.says), std::string::npos) << s.error().text();
  }
}

TEST_F(PluginHost, APluginOfAnOlderMinorIsTaken) {
  std::string old = slurp(testing::shipped("bus-census"));
  const std::size_t at = cardOffset(old);
  ASSERT_NE(at, std::string::npos);
  const auto put = [&](std::size_t offset, std::uint32_t value) {
    std::memcpy(old.data() + at + offset, &value, sizeof value);
  };
  const std::string path = (dir_ / "old.so").string();
  put(offsetof(pin16_card, minor), 0);
  std::ofstream(path, std::ios::binary) << old;
  const Status s = checkCard(path);
  EXPECT_TRUE(s) << s.error().text();
  put(offsetof(pin16_card, exchange_size), 96);
  std::ofstream(path, std::ios::binary) << old;
  EXPECT_FALSE(checkCard(path)) << "of another size all the same";
}

TEST_F(PluginHost, DamagedFilesAreRefusedAtEveryLength) {
  const std::string original = slurp(hostile("throws"));
  const std::string path = (dir_ / "cut.so").string();
  for (std::size_t length = 0; length < original.size(); length += 97) {
    std::ofstream(path, std::ios::binary) << original.substr(0, length);
    EXPECT_FALSE(checkCard(path));
  }
  // Every byte of the head and of the section table turned over: refused or unharmed, never a crash.
  std::uint64_t seed = 1;
  for (int i = 0; i < 2000; ++i) {
    seed = seed * 6364136223846793005ULL + 1442695040888963407ULL;
    std::string changed = original;
    const std::size_t at = i % 2 == 0 ? (seed >> 33U) % 64 : changed.size() - 1 - (seed >> 33U) % 2048;
    changed[at] = static_cast<char>(changed[at] ^ static_cast<char>(1U << (seed >> 61U)));
    std::ofstream(path, std::ios::binary) << changed;
    (void)checkCard(path);
  }
}

TEST_F(PluginHost, AFileThatOthersCanWriteIsRefused) {
  const std::string path = hostile("throws");
  EXPECT_TRUE(trustFile(path));
  chmod(path.c_str(), 0666);
  const Status open_file = trustFile(path);
  ASSERT_FALSE(open_file);
  EXPECT_NE(open_file.error().advice.find("chmod go-w"), std::string::npos);
  chmod(path.c_str(), 0644);
  chmod(dir_.c_str(), 0777);
  EXPECT_FALSE(trustFile(path)) << "whoever can write the folder can put another file there";
  chmod(dir_.c_str(), 0700);
  EXPECT_FALSE(trustFile((dir_ / "none.so").string()));
  if (geteuid() != 0) {
    std::puts("FELL BACK: not root, a foreign owner cannot be made here");
    return;
  }
  ASSERT_EQ(chown(path.c_str(), 65534, 65534), 0);
  setenv("PIN16_NOTHING", "", 1);
  EXPECT_FALSE(trustFile(path)) << "belongs to neither root nor this user";
}

TEST_F(PluginHost, ADescriptionThatIsNoneIsRefused) {
  const auto runner = Library::load(hostile("nothing"));
  ASSERT_TRUE(runner) << runner.error().text();
  const pin16_plugin good = (*runner)->plugin();
  EXPECT_TRUE(readFacts(good));
  const auto refused = [&](auto change, const char* says) {
    pin16_plugin p = good;
    change(p);
    const auto facts = readFacts(p);
    ASSERT_FALSE(facts) << says;
    EXPECT_NE(facts.error().what.find(says), std::string::npos) << facts.error().text();
  };
  refused([](auto& p) { p.size = 8; }, "bytes");
  refused([](auto& p) { p.name = {"Big Name", 8}; }, "name");
  refused([](auto& p) { p.name = {nullptr, 8}; }, "name");
  refused([](auto& p) { p.take = nullptr; }, "function");
  refused([](auto& p) { p.asks = 1, p.answered = nullptr; }, "function");
  refused([](auto& p) { p.series_count = 1'000'000; }, "table");
  refused([](auto& p) { p.settings = nullptr, p.setting_count = 3; }, "table");
  static const pin16_setting outside[] = {
      {{"a_ms", 4}, {"", 0}, {"ms", 2}, PIN16_NUMBER, 0, 1, 2, 3, {"", 0}}};
  refused([](auto& p) { p.settings = outside, p.setting_count = 1; }, "default");
  static const pin16_counter twice[] = {{{"x", 1}, {"", 0}}, {{"x", 1}, {"", 0}}};
  refused([](auto& p) { p.counters = twice, p.counter_count = 2; }, "twice");
}

TEST_F(PluginHost, SettingsAreHeldAgainstTheDescription) {
  const auto runner = runHere(testing::shipped("bus-census"));
  ASSERT_TRUE(runner) << runner.error().text();
  const Facts& facts = (*runner)->facts();
  EXPECT_TRUE(checkSettings(facts, {{"window_ms", 500.0}}));
  EXPECT_FALSE(checkSettings(facts, {{"window_ms", -1.0}}));
  EXPECT_FALSE(checkSettings(facts, {{"window_ms", std::string("500")}}));
  const Status unknown = checkSettings(facts, {{"windw_ms", 500.0}});
  ASSERT_FALSE(unknown);
  EXPECT_NE(unknown.error().advice.find("window_ms"), std::string::npos) << "it says what there is";
}

// ---- the host

TEST_F(PluginHost, FindsAndStartsWhatIsShippedAndSaysWhatItRefused) {
  fs::create_directories(dir_ / "data/pin16/plugins");
  fs::permissions(dir_ / "data/pin16/plugins", fs::perms::owner_all);
  std::ofstream(dir_ / "data/pin16/plugins/text.so") << "no library";
  const Search s = search({(dir_ / "absent.so").string()});
  EXPECT_EQ(s.found.size(), shippedNames().size());
  for (const Found& f : s.found) EXPECT_TRUE(f.shipped) << f.path;
  ASSERT_EQ(s.refused.size(), 2U);
  EXPECT_NE(s.refused[0].reason.find("no shared library"), std::string::npos) << s.refused[0].reason;
  auto host = Host::start({}, {});
  ASSERT_TRUE(host) << host.error().text();
  const auto results = (*host)->finish(kNoTime);
  ASSERT_EQ(results.size(), shippedNames().size());
  EXPECT_EQ(results[0].facts.name, "bus-census") << "by name";
}

TEST_F(PluginHost, JobSettingsForAPluginThatIsNotThereAreAnError) {
  job::Job job;
  job.file = "job.toml";
  job.plugins["bus-voltge"] = {};
  const auto host = Host::start({}, job);
  ASSERT_FALSE(host);
  EXPECT_NE(host.error().text().find("bus-voltage"), std::string::npos) << host.error().text();
  EXPECT_EQ(host.error().kind, ErrorKind::input);
}

TEST_F(PluginHost, TheSamePluginGivesTheSameInAProcessOfItsOwn) {
  Stage s = someFrames();
  s.power(30, event::PowerState::on);
  s.sample(31, "V(feed,chassis)", 12.5);
  s.sample(32, "I(feed)", 0.3);
  for (int i = 0; i < 3000; ++i)
    s.frame(40 + i, 0x200 + static_cast<std::uint32_t>(i % 7), {0, static_cast<std::uint8_t>(i)});
  event::Exchange x;
  x.request_id = 0x7E0;
  x.answer_id = 0x7E8;
  x.request = {0x22, 0xF1, 0x90};
  x.answer = {0x7F, 0x22, 0x31};
  x.ended = event::Ended::negative;
  x.response_ms = x.complete_ms = 12;
  s.exchange(3100, x);
  for (const std::string& name : shippedNames()) {
    const auto run = [&](Result<std::unique_ptr<Runner>> runner) {
      EXPECT_TRUE(runner) << runner.error().text();
      (*runner)->start({});
      for (const auto& c : s.chunks()) (*runner)->take(*c);
      (*runner)->finish(s.lastNs());
      Results r = (*runner)->takeResults();
      EXPECT_EQ(r.failed, "") << name;
      return pack(r);
    };
    EXPECT_EQ(run(runHere(testing::shipped(name))), run(runApart(testing::shipped(name)))) << name;
  }
}

TEST_F(PluginHost, WhatIsTakenOnTheWayAddsUpToTheWhole) {
  Stage s = someFrames();
  s.power(30, event::PowerState::on);
  for (int i = 0; i < 5000; ++i) {
    s.frame(40 + i, 0x200 + static_cast<std::uint32_t>(i % 7), {0, static_cast<std::uint8_t>(i)});
    if (i % 10 == 0) s.sample(40 + i, "V(feed,chassis)", i % 500 == 0 ? 9.0 : 12.5);
  }
  for (const std::string& name : shippedNames()) {
    const auto run = [&](Result<std::unique_ptr<Runner>> runner, bool on_the_way) {
      EXPECT_TRUE(runner) << runner.error().text();
      (*runner)->start({});
      Results all = (*runner)->takeSoFar();
      for (const auto& c : s.chunks()) {
        (*runner)->take(*c);
        if (on_the_way) append(all, (*runner)->takeSoFar());
      }
      (*runner)->finish(s.lastNs());
      append(all, (*runner)->takeResults());
      return pack(all);
    };
    const Bytes whole = run(runHere(testing::shipped(name)), false);
    EXPECT_EQ(run(runHere(testing::shipped(name)), true), whole) << name;
    EXPECT_EQ(run(runApart(testing::shipped(name)), true), whole) << name;
  }
}

TEST_F(PluginHost, AChunkComesOutOfItsPackingAsItWentIn) {
  Stage s = someFrames();
  s.sample(50, "V(pin16,pin4)", 12.1);
  s.power(51, event::PowerState::source);
  s.gap(52, 60);
  event::LinkState state;
  state.uri = "socketcan:can0";
  state.bitrate = 500000;
  s.link(61, state);
  s.message(62, {0x7E8, false, true, {0x62, 0xF1, 0x90}, "", testing::kStart_ns});
  Bytes packed;
  s.chunks()[0]->pack(packed);
  Chunk again;
  ASSERT_TRUE(again.unpack(packed));
  Bytes twice;
  again.pack(twice);
  EXPECT_EQ(packed, twice);
  ASSERT_EQ(again.events().size(), s.chunks()[0]->events().size());
  // Damaged bytes: refused, never read beyond.
  std::uint64_t seed = 7;
  for (int i = 0; i < 3000; ++i) {
    seed = seed * 6364136223846793005ULL + 1442695040888963407ULL;
    Bytes changed = packed;
    changed[(seed >> 32U) % changed.size()] ^= static_cast<std::uint8_t>(seed >> 24U);
    changed.resize(changed.size() - (seed >> 20U) % 8);
    Chunk c;
    (void)c.unpack(changed);
  }
}

// ---- hostile plugins, each in a process of its own

struct Case {
  const char* mode;
  const char* failed;   // part of the reason; empty: it does not fail
  const char* finding;  // what it gave all the same; empty none
};
class Hostile : public PluginHost, public ::testing::WithParamInterface<Case> {};

TEST_P(Hostile, EndsWithANamedReasonAndItsEarlierResults) {
  const Case& c = GetParam();
#ifdef __SANITIZE_THREAD__
  if (std::string_view(c.mode) == "frees_twice")
    GTEST_SKIP() << "FELL BACK: ThreadSanitizer's allocator lets a second free pass";
#endif
  // Two seconds are plenty for what comes back at all.
  const Results r = runApartOver(
      hostile(c.mode), std::strstr(c.failed, "within") != nullptr ? 2 * kNsPerSecond : 60 * kNsPerSecond);
  if (*c.failed == 0) {
    EXPECT_EQ(r.failed, "");
  } else {
    EXPECT_NE(r.failed.find(c.failed), std::string::npos) << r.failed;
  }
  if (*c.finding != 0) {
    EXPECT_NE(findingOf(r, c.finding), nullptr) << testing::allTexts(r);
  }
  EXPECT_FALSE(fs::exists("/tmp/pin16-hostile-was-here"));
  EXPECT_LE(r.findings.size(), kFindingsMax);
  for (const auto& points : r.points) EXPECT_LE(points.size(), kPointsMax);
}

INSTANTIATE_TEST_SUITE_P(
    Plugins, Hostile,
    ::testing::Values(Case{"throws-at-load", "loading", ""}, Case{"exits-at-load", "loading", ""},
                      Case{"hangs-at-load", "within", ""},
                      Case{"throws-in-create", "create() let an exception out: in create", ""},
                      Case{"gives-nothing", "create() gave nothing", ""},
                      Case{"throws", "take() let an exception out: in take", "alive"},
                      Case{"throws-a-number", "take() let an exception out", "alive"},
                      Case{"never-returns", "take() within", ""}, Case{"floods", "", "flood"},
                      Case{"garbage-sizes", "", "alive"}, Case{"reads-null", "died in take()", ""},
                      Case{"exits", "died in take()", ""}, Case{"aborts", "died in take()", ""},
                      Case{"frees-twice", "died in take()", ""}, Case{"overruns-stack", "died in take()", ""},
                      Case{"forks", "", "fork-refused"}, Case{"starts-thread", "", "thread-refused"},
                      Case{"opens-socket", "", "socket-refused"}, Case{"writes-file", "", "write-refused"},
                      Case{"deletes-file", "", "delete-refused"}, Case{"kills-parent", "", "kill-refused"},
                      Case{"runs-program", "", "exec-refused"}, Case{"writes-to-host", "no message", ""},
                      Case{"writes-events", "", "alive"},
                      Case{"throws-in-finish", "finish() let an exception out", "alive"},
                      Case{"hangs-in-finish", "finish() within", "alive"},
                      Case{"throws-in-destroy", "", "alive"}),
    [](const auto& i) {
      std::string name = i.param.mode;
      std::replace(name.begin(), name.end(), '-', '_');
      return name;
    });

TEST_F(PluginHost, TooMuchMemoryEndsThePluginOnly) {
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
  std::puts("FELL BACK: a sanitizer's address space cannot be bounded");
  GTEST_SKIP();
#else
  const Results r = runApartOver(hostile("eats-memory"), 60 * kNsPerSecond);
  EXPECT_NE(r.failed.find("take()"), std::string::npos) << r.failed;
#endif
}

TEST_F(PluginHost, WhatIsDroppedIsCountedWithItsFirstReason) {
  const Results flood = runApartOver(hostile("floods"), 60 * kNsPerSecond);
  EXPECT_EQ(flood.findings.size(), kFindingsMax);
  EXPECT_GT(flood.dropped, 90000U);
  EXPECT_NE(flood.dropped_why.find("more findings"), std::string::npos) << flood.dropped_why;
  const Results garbage = runApartOver(hostile("garbage-sizes"));
  EXPECT_EQ(garbage.dropped, 8U);
}

TEST_F(PluginHost, AHostilePluginLeavesTheOthersTheirResults) {
  auto host = Host::start({{hostile("reads-null")}, false, 1, false}, {});
  ASSERT_TRUE(host) << host.error().text();
  const Stage s = someFrames();
  for (const auto& c : s.chunks()) {
    auto copy = (*host)->emptyChunk();
    Bytes packed;
    c->pack(packed);
    ASSERT_TRUE(copy->unpack(packed));
    (*host)->take(std::move(copy));
  }
  const auto all = (*host)->finish(s.lastNs());
  ASSERT_EQ(all.size(), shippedNames().size() + 1);
  for (const Results& r : all) {
    EXPECT_EQ(r.failed.empty(), r.facts.name != "hostile") << r.facts.name << ": " << r.failed;
    if (r.facts.name == "bus-census") {
      EXPECT_EQ(testing::counterOf(r, "frames"), 20U);
    }
  }
}

}  // namespace
}  // namespace pin16::plugin
