// SPDX-License-Identifier: Apache-2.0
/// An attempt of the other equipment over a serial CAN adapter on a pty: each rung named live, in review and
/// through replay:; nothing of the content anywhere; and in a sealed job no command that sends.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/json/parse.hpp>
#include <boost/json/serialize.hpp>
#include <boost/json/value.hpp>
#include <chrono>
#include <filesystem>
#include <thread>

#include "../link/pty_device.hpp"
#include "core/capture/hash.hpp"
#include "run_pin16.hpp"

namespace pin16::test {
namespace {

namespace json = boost::json;
using std::chrono::milliseconds;
using testing::HasSubstr;
using testing::Not;

struct Said {
  int after_ms;
  std::string lines;
};

/// A serial CAN adapter, and on its bus what the script says, once it is opened. docs/bench.md has the lines.
class Adapter {
 public:
  Adapter(const std::string& path, std::vector<Said> script)
      : script_(std::move(script)),
        device_(io_, path, [this](std::string_view text) { take(text); }),
        thread_([this] { io_.run(); }) {}
  ~Adapter() { stop(); }
  void stop() {
    io_.stop();
    if (thread_.joinable()) thread_.join();
  }
  /// Everything that the host ever wrote; after stop().
  [[nodiscard]] const std::string& heard() const { return device_.heard; }

 private:
  void take(std::string_view text) {
    for (const char c : text) {
      line_ += c;
      if (c != '\r') continue;
      if (line_ == "V\r")
        device_.write("V0101\r");
      else if (line_ == "N\r")
        device_.write("NP016\r");
      else if (line_ == "F\r")
        device_.write("F00\r");
      else if (line_ == "Z1\r")
        device_.write("\a");
      else
        device_.write("\r");
      if ((line_ == "L\r" || line_ == "O\r") && at_ == 0) next();
      line_.clear();
    }
  }
  void next() {
    if (at_ == script_.size()) return;
    timer_.expires_after(milliseconds(script_[at_].after_ms));
    timer_.async_wait([this](const boost::system::error_code& ec) {
      if (ec) return;
      device_.write(script_[at_++].lines);
      next();
    });
  }

  std::vector<Said> script_;
  std::size_t at_ = 0;
  std::string line_;
  boost::asio::io_context io_;
  boost::asio::steady_timer timer_{io_};
  link::PtyDevice device_;
  std::thread thread_;
};

std::string times(int n, const std::string& line) {
  std::string out;
  for (int i = 0; i < n; ++i) out += line;
  return out;
}

struct Rung {
  const char* name;
  std::vector<Said> script;
};

std::vector<Rung> rungs() {
  const std::string ask = "t7E080322F190CCCCCCCC\r", flow = "t7E08300000CCCCCCCCCC\r";
  return {{"no-bit", {{50, "t12080102030405060708\r"}}},
          {"errors-only", {{50, times(40, "e1s\r")}}},
          {"unacknowledged",
           {{50, times(40, "t7E08021003CCCCCCCCCC\r")}, {20, times(40, "t7E08021003CCCCCCCCCC\r")}}},
          {"silent", {{50, ask}, {1200, "t12080102030405060708\r"}}},
          {"negative", {{50, ask}, {20, "t7E88037F2233CCCCCCCC\r"}}},
          {"pending", {{50, ask}, {20, "t7E88037F2278CCCCCCCC\r"}}},
          {"cut", {{50, ask}, {20, "t7E88101462F190544553\r"}, {5, flow}, {5, "t7E882154303030303030\r"}}},
          {"through",
           {{50, ask},
            {20, "t7E88101462F190544553\r"},
            {5, flow},
            {5, "t7E882154303030303030\r"},
            {5, "t7E882230303030303031\r"}}}};
}

json::value attemptOf(const Ran& ran) {
  boost::system::error_code fault;
  const auto document = json::parse(ran.out, fault);
  EXPECT_FALSE(fault) << ran.out << ran.err;
  if (fault) return {};
  const auto& all = document.at("attempts").as_array();
  EXPECT_EQ(all.size(), 1U);
  return all.empty() ? json::value() : all[0];
}

class EachRung : public testing::TestWithParam<std::size_t> {};

TEST_P(EachRung, IsNamedLiveInReviewAndThroughReplay) {
  const Rung rung = rungs()[GetParam()];
  const TemporaryFolder f;
  Ran live;
  {
    Adapter adapter(f.file("adapter"), rung.script);
    live = runPin16({"listen", "slcan:adapter", "--attempt", "--changed", "other cable", "--for", "3",
                     "--json", "--no-plugins", "-o", "a.pcapng"},
                    f.path());
    adapter.stop();
    EXPECT_THAT(adapter.heard(), Not(testing::ContainsRegex("[tTrRO][0-9A-F]*\r")));
  }
  EXPECT_EQ(live.exit_code, rung.name == std::string("through") ? 0 : 1) << live.err;
  EXPECT_THAT(live.err, HasSubstr("hands off"));
  const auto attempt = attemptOf(live);
  EXPECT_EQ(attempt.at("rung").as_string(), rung.name);
  EXPECT_EQ(attempt.at("changed").as_string(), "other cable");
  EXPECT_EQ(attempt.at("ended").as_string(), "time");
  EXPECT_EQ(attempt.at("content").as_string(), "blanked");
  EXPECT_EQ(
      attemptOf(runPin16({"review", "a.pcapng", "--json", "--no-plugins"}, f.path())).at("rung").as_string(),
      rung.name);
  // The live line's own conclusion, as recorded.
  EXPECT_THAT(runPin16({"review", "a.pcapng", "--lines"}, f.path()).out,
              HasSubstr(std::string("rung: ") + rung.name));
  const auto again = attemptOf(runPin16(
      {"listen", "replay:a.pcapng?pace=fast", "--attempt", "--json", "--no-plugins", "-o", "b.pcapng"},
      f.path()));
  EXPECT_EQ(again.at("rung").as_string(), rung.name);
  EXPECT_EQ(again.at("ended").as_string(), "end of the file");
}
INSTANTIATE_TEST_SUITE_P(Attempt, EachRung, testing::Range<std::size_t>(0, 8), [](const auto& each) {
  std::string name = rungs()[each.param].name;
  std::replace(name.begin(), name.end(), '-', '_');
  return name;
});

/// A long answer with a content that stands nowhere else: 6 bytes, then 7 in each frame.
constexpr const char* kSecret = "Zq7#kW2!vB9@xN4$eR6%tY8^uI0&oP3*aS5(dF1)gH";

std::vector<Said> secretTransfer() {
  const std::string secret = kSecret;
  const Bytes bytes(secret.begin(), secret.end());
  Bytes message = {0x62, 0xFE, 0xDC};
  message.insert(message.end(), bytes.begin(), bytes.end());
  const auto line = [](const Bytes& data) {
    return "t7E8" + std::to_string(data.size()) + toHex(data) + "\r";
  };
  std::vector<Said> script = {{50, "t7E080322FEDCCCCCCCCC\r"}};
  Bytes first = {0x10, static_cast<std::uint8_t>(message.size())};
  first.insert(first.end(), message.begin(), message.begin() + 6);
  script.push_back({10, line(first)});
  script.push_back({5, "t7E08300000CCCCCCCCCC\r"});
  std::uint8_t sn = 1;
  for (std::size_t at = 6; at < message.size(); at += 7) {
    Bytes next = {static_cast<std::uint8_t>(0x20 | sn++)};
    next.insert(next.end(), message.begin() + static_cast<std::ptrdiff_t>(at),
                message.begin() + static_cast<std::ptrdiff_t>(std::min(at + 7, message.size())));
    next.resize(8, 0xAA);
    script.push_back({5, line(next)});
  }
  script.push_back(
      {5, "t7E88" + toHex(bytes).substr(0, 12) + "\r"});  // damaged: too short; it goes to the log
  return script;
}

/// Any 4 bytes of the content, raw or as hex of either case, wherever Pin16 wrote.
std::string found(const TemporaryFolder& f, const std::string& more) {
  const std::string secret = kSecret;
  std::string where;
  const auto look = [&](const std::string& name, const std::string& text) {
    for (std::size_t i = 0; i + 4 <= secret.size(); ++i) {
      const std::string part = secret.substr(i, 4);
      const std::string hex = toHex(Bytes(part.begin(), part.end()));
      std::string upper = hex;
      std::transform(upper.begin(), upper.end(), upper.begin(),
                     [](unsigned char c) { return std::toupper(c); });
      for (const auto& form : {part, hex, upper})
        if (text.find(form) != std::string::npos) where += name + ": " + form + "; ";
    }
  };
  for (const auto& entry : std::filesystem::directory_iterator(f.path()))
    if (entry.is_regular_file()) look(entry.path().filename().string(), readFile(entry.path().string()));
  look("output", more);
  return where;
}

std::string jobWith(const TemporaryFolder& f, const std::string& more) {
  writeFile(f.file("job.toml"), "[job]\nname = \"a test\"\narrangement = \"removed\"\n" + more);
  return "job.toml";
}

Ran transfer(const TemporaryFolder& f, const std::string& job) {
  Adapter adapter(f.file("adapter"), secretTransfer());
  ::setenv("PIN16_LOG", "debug", 1);
  const Ran ran = runPin16(
      {"listen", "slcan:adapter", "--attempt", "--job", job, "--for", "2", "--json", "-o", "a.pcapng"},
      f.path());
  ::unsetenv("PIN16_LOG");
  return ran;
}

TEST(Envelope, APlaintextSentThroughAnAttemptIsFoundNowhere) {
  const TemporaryFolder f;
  const Ran ran = transfer(f, jobWith(f, ""));
  EXPECT_EQ(ran.exit_code, 0) << ran.err;
  const auto attempt = attemptOf(ran);
  EXPECT_EQ(attempt.at("rung").as_string(), "through");
  const std::string shown = runPin16({"review", "a.pcapng"}, f.path()).out +
                            runPin16({"review", "a.pcapng", "--lines"}, f.path()).out +
                            runPin16({"review", "a.pcapng", "--json"}, f.path()).out;
  EXPECT_EQ(found(f, ran.out + ran.err + shown), "");
  EXPECT_THAT(shown, HasSubstr("45 bytes, content blanked"));  // not decoded as if it were zeros
  EXPECT_THAT(readFile(f.file("a.pcapng")), HasSubstr("answer data is blanked"));
  // The digest stands for it, and the key is beside the job, not in the capture.
  const std::string key = readFile(f.file("job.toml.key")).substr(0, 64);
  EXPECT_THAT(readFile(f.file("a.pcapng")), Not(HasSubstr(key)));
  Bytes message = {0x62, 0xFE, 0xDC};
  for (const char* c = kSecret; *c != 0; ++c) message.push_back(static_cast<std::uint8_t>(*c));
  EXPECT_THAT(ran.out, HasSubstr(toHex(capture::hmacSha256(*fromHex(key), message))));
}

TEST(Envelope, WithRecordedAuthorityItIsKeptAndTheHeaderSaysByWhom) {
  const TemporaryFolder f;
  const std::string job = jobWith(
      f, "[authority]\nwho = \"court of Somewhere\"\nwhat = \"event record\"\nwhen = \"2026-11-20\"\n");
  const Ran ran = transfer(f, job);
  EXPECT_EQ(ran.exit_code, 0) << ran.err;
  EXPECT_EQ(attemptOf(ran).at("content").as_string(), "full");
  EXPECT_NE(found(f, ran.out), "");  // so the other test can fail
  EXPECT_THAT(readFile(f.file("a.pcapng")),
              HasSubstr("by the authority of court of Somewhere: event record, 2026-11-20"));
}

TEST(Envelope, TimesAreTheSameWithAndWithoutContent) {
  const TemporaryFolder f;
  (void)transfer(f, jobWith(f, "[authority]\nwho = \"a\"\nwhat = \"b\"\nwhen = \"c\"\n"));
  const auto seen = [&](const char* job, const char* out) {
    const Ran ran = runPin16({"listen", "replay:a.pcapng?pace=fast", "--attempt", "--unchanged",
                              "the same again", "--job", job, "--json", "-o", out},
                             f.path());
    const auto x = json::parse(ran.out).at("exchanges").at(0);
    std::string all;
    for (const char* member : {"ended", "late", "pending", "response_ms", "complete_ms", "answer_ms",
                               "flow_ms", "separation_ms_min", "separation_ms_max", "request_ms"})
      all += json::serialize(x.at(member)) + " ";
    return all;
  };
  const std::string full = seen("job.toml", "f.pcapng");
  writeFile(f.file("blank.toml"), "[job]\narrangement = \"removed\"\n");
  EXPECT_EQ(seen("blank.toml", "b.pcapng"), full);
}

TEST(Envelope, ANoteOpensAnAttemptInARunningRecording) {
  const TemporaryFolder f;
  ::setenv("XDG_RUNTIME_DIR", f.path().c_str(), 1);
  Adapter adapter(f.file("adapter"), {{50, "t12080102030405060708\r"}, {2500, secretTransfer()[1].lines}});
  std::thread recording([&] {
    (void)runPin16({"listen", "slcan:adapter", "--for", "5", "-o", "a.pcapng"}, f.path());
  });
  std::this_thread::sleep_for(milliseconds(1500));
  const Ran begun = runPin16({"note", "other cable", "--attempt", "begin"}, f.path());
  std::this_thread::sleep_for(milliseconds(2500));
  const Ran ended = runPin16({"note", "communication error", "--attempt", "end", "--json"}, f.path());
  recording.join();
  ::unsetenv("XDG_RUNTIME_DIR");
  EXPECT_EQ(begun.exit_code, 0) << begun.err;
  EXPECT_THAT(ended.out, HasSubstr("\"attempt\":\"end\""));
  const auto attempt = attemptOf(runPin16({"review", "a.pcapng", "--json"}, f.path()));
  EXPECT_EQ(attempt.at("said").as_string(), "communication error");
  EXPECT_EQ(attempt.at("changed").as_string(), "other cable");
  const std::string lines = runPin16({"review", "a.pcapng", "--lines"}, f.path()).out;
  EXPECT_THAT(lines, HasSubstr("01 02 03 04 05 06 07 08"));  // before the attempt
  EXPECT_EQ(found(f, lines), "");
}

// ---- the seal, counted from the other end

TEST(Seal, NoCommandOpensALinkThatIsNotSilentAndNothingReachesTheDevice) {
  for (const char* grade : {"", "silence = \"claimed\"\n", "silence = \"proven\"\n"}) {
    const bool proven = std::string(grade).find("proven") != std::string::npos;
    const TemporaryFolder f;
    const std::string job = jobWith(
        f, std::string("sealed = true\n") + grade + "[module]\nrequest_id = 0x7A1\nanswer_id = 0x7A9\n");
    Adapter adapter(f.file("adapter"), {});
    const std::string uri = std::string("slcan:adapter?bitrate=500000") + (proven ? "" : "&listen=no");
    int n = 0;
    for (const auto& call : std::vector<std::vector<std::string>>{
             {"check", "--job", job, uri, "--ask", "--rate-known", "--for", "0.2"},
             {"rollcall", uri, "--job", job, "--rate-known", "--sweep", "7E0-7E7"},
             {"listen", uri, "--job", job, "--for", "1"},
             {"listen", uri, "--job", job, "--attempt", "--for", "1"}}) {
      auto words = call;
      words.insert(words.end(), {"-o", "c" + std::to_string(n++) + ".pcapng"});
      const Ran ran = runPin16(words, f.path());
      EXPECT_EQ(ran.exit_code, 4) << call[0] << ran.out << ran.err;
      EXPECT_THAT(ran.err, HasSubstr("the job is sealed"));
    }
    adapter.stop();
    EXPECT_EQ(adapter.heard(), "");  // not even opened
    EXPECT_THAT(runPin16({"review", "c0.pcapng", "--json"}, f.path()).out, HasSubstr("\"sent\":[]"));
  }
}

TEST(Seal, ThroughASilentLinkItListensAndSendsNothingWhateverIsAsked) {
  const TemporaryFolder f;
  const std::string job = jobWith(f, "sealed = true\n[module]\nrequest_id = 0x7A1\nanswer_id = 0x7A9\n");
  Adapter adapter(f.file("adapter"), {{50, times(20, "t12080102030405060708\r")}});
  const Ran asked = runPin16(
      {"check", "--job", job, "slcan:adapter", "--ask", "--rate-known", "--for", "0.3", "-o", "c.pcapng"},
      f.path());
  EXPECT_EQ(asked.exit_code, 4) << asked.err;
  EXPECT_THAT(asked.out, HasSubstr("not asked"));
  const Ran rolled = runPin16(
      {"rollcall", "slcan:adapter", "--job", job, "--rate-known", "--sweep", "7E0-7E3", "-o", "r.pcapng"},
      f.path());
  EXPECT_EQ(rolled.exit_code, 4) << rolled.err;
  adapter.stop();
  EXPECT_THAT(adapter.heard(), HasSubstr("L\r"));
  EXPECT_THAT(adapter.heard(), Not(testing::ContainsRegex("[tTrRO][0-9A-F]*\r")));
  EXPECT_THAT(runPin16({"review", "c.pcapng"}, f.path()).out, HasSubstr("Sent by us   nothing"));
}

TEST(HandOver, FromFreeChecksToTheAttemptItCostsOnePowerUp) {
  const TemporaryFolder f;
  const std::string bench = "bench:" + std::string(PIN16_SOURCE_DIR) + "/captures/scenarios/removed-sound";
  std::filesystem::copy_file(std::string(PIN16_SOURCE_DIR) + "/captures/scenarios/removed-sound/job.toml",
                             f.file("job.toml"));
  writeFile(f.file("said.txt"), runPin16({"bench", bench.substr(6), "--readings"}, f.path()).out);
  const Ran checked = runPin16(
      {"check", "--job", "job.toml", bench, "--ask", "--operator", "said.txt", "-o", "c.pcapng"}, f.path());
  EXPECT_EQ(checked.exit_code, 0) << checked.out << checked.err;
  EXPECT_THAT(checked.err, HasSubstr("pin16 listen --attempt --job job.toml"));
  Adapter adapter(f.file("adapter"), rungs().back().script);
  const Ran tried = runPin16(
      {"listen", "--attempt", "--job", "job.toml", "slcan:adapter", "--for", "2", "--json", "-o", "a.pcapng"},
      f.path());
  EXPECT_EQ(attemptOf(tried).at("power_up").to_number<int>(), 1) << tried.err;
  const std::string ledger = readFile(f.file("job.toml.ledger"));
  EXPECT_EQ(std::count(ledger.begin(), ledger.end(), '\n'), 1) << ledger;
}

TEST(Envelope, AnotherReaderOpensTheCapture) {
  if (std::system("tshark --version >/dev/null 2>&1") != 0) GTEST_SKIP() << "tshark is not installed";
  const TemporaryFolder f;
  (void)transfer(f, jobWith(f, ""));
  const std::string call =
      "cd '" + f.path() + "' && tshark -r a.pcapng -Y can -T fields -e can.id -e can.len >t.txt 2>t.err";
  EXPECT_EQ(std::system(call.c_str()), 0) << readFile(f.file("t.err"));
  const std::string rows = readFile(f.file("t.txt"));
  EXPECT_EQ(std::count(rows.begin(), rows.end(), '\n'), 9);  // request, first frame, flow control, six parts
}

TEST(BetweenAttempts, OneChangeIsNamedOrWhyThereIsNone) {
  const TemporaryFolder f;
  const std::string job = jobWith(f, "stop_after_alike = 2\n");
  const std::string bench = "bench:" + std::string(PIN16_SOURCE_DIR) + "/captures/scenarios/removed-sound";
  int n = 0;
  const auto again = [&](const std::vector<std::string>& more) {
    std::vector<std::string> words = {
        "listen", "--attempt", "--job", job, bench, "--for", "1", "-o", std::to_string(n++) + ".pcapng"};
    words.insert(words.end(), more.begin(), more.end());
    return runPin16(words, f.path());
  };
  EXPECT_EQ(again({}).exit_code, 1);  // the first one is no bit
  const Ran refused = again({});
  EXPECT_EQ(refused.exit_code, 2);
  EXPECT_THAT(refused.err, HasSubstr("attempt 2 of this job; the last one ended `no-bit`"));
  EXPECT_THAT(refused.err, HasSubstr("it is not said what was changed"));
  EXPECT_EQ(again({"--changed", "a", "--unchanged", "b"}).exit_code, 2);
  EXPECT_EQ(again({"--unchanged", "a repeated pass"}).exit_code, 1);
  EXPECT_THAT(again({"--changed", "other cable"}).err, HasSubstr("stop rule of this job: 2 attempts"));
  const std::string list = readFile(f.file("job.toml.attempts"));
  EXPECT_EQ(std::count(list.begin(), list.end(), '\n'), 3) << list;
  EXPECT_THAT(list, HasSubstr("\tnothing: a repeated pass\t"));
  EXPECT_THAT(list, HasSubstr("\tother cable\t"));
}

// ---- K-line: nobody acknowledges, initialisation and messages instead of frames

/// ISO 14230-2: header with length and addresses, data, sum.
std::string kwp(std::uint8_t target, std::uint8_t source, const Bytes& data) {
  Bytes all = {static_cast<std::uint8_t>(0x80 + data.size()), target, source};
  all.insert(all.end(), data.begin(), data.end());
  std::uint8_t sum = 0;
  for (const std::uint8_t b : all) sum = static_cast<std::uint8_t>(sum + b);
  all.push_back(sum);
  return {all.begin(), all.end()};
}

/// What another tester and a module say on the line, once a recording listens.
Ran overKLine(const TemporaryFolder& f, const std::vector<Said>& script) {
  ::setenv("XDG_RUNTIME_DIR", f.path().c_str(), 1);
  boost::asio::io_context io;
  link::PtyDevice line(io, f.file("kline"));
  Ran ran;
  std::thread listening([&] {
    ran = runPin16(
        {"listen", "kline:kline", "--attempt", "--for", "8", "--json", "--no-plugins", "-o", "a.pcapng"},
        f.path());
  });
  for (int i = 0; i < 100 && runPin16({"note", "started"}, f.path()).exit_code != 0; ++i)
    std::this_thread::sleep_for(milliseconds(200));
  std::this_thread::sleep_for(milliseconds(1000));
  for (const Said& said : script) {
    std::this_thread::sleep_for(milliseconds(said.after_ms));
    line.write(said.lines);
  }
  listening.join();
  ::unsetenv("XDG_RUNTIME_DIR");
  io.run_for(milliseconds(50));
  EXPECT_EQ(line.heard, "");
  return ran;
}

std::vector<Rung> lineRungs() {
  const std::string start = kwp(0x11, 0xF1, {0x81}), started = kwp(0xF1, 0x11, {0xC1, 0xEF, 0x8F}),
                    ask = kwp(0x11, 0xF1, {0x1A, 0x90});
  return {
      {"no-bit", {}},
      {"errors-only", {{50, std::string("\x33\x55", 2)}, {100, std::string("\x33\x55", 2)}}},
      {"silent", {{50, start}, {50, started}, {100, ask}}},
      {"negative", {{50, start}, {50, started}, {100, ask}, {30, kwp(0xF1, 0x11, {0x7F, 0x1A, 0x33})}}},
      {"pending", {{50, start}, {50, started}, {100, ask}, {30, kwp(0xF1, 0x11, {0x7F, 0x1A, 0x78})}}},
      {"through", {{50, start}, {50, started}, {100, ask}, {30, kwp(0xF1, 0x11, {0x5A, 0x90, 'A', 'B'})}}}};
}

class EachLineRung : public testing::TestWithParam<std::size_t> {};

TEST_P(EachLineRung, IsNamedLiveInReviewAndThroughReplay) {
  const Rung rung = lineRungs()[GetParam()];
  const TemporaryFolder f;
  EXPECT_EQ(attemptOf(overKLine(f, rung.script)).at("rung").as_string(), rung.name);
  EXPECT_EQ(
      attemptOf(runPin16({"review", "a.pcapng", "--json", "--no-plugins"}, f.path())).at("rung").as_string(),
      rung.name);
  EXPECT_EQ(attemptOf(runPin16({"listen", "replay:a.pcapng?pace=fast", "--attempt", "--json", "--no-plugins",
                                "-o", "b.pcapng"},
                               f.path()))
                .at("rung")
                .as_string(),
            rung.name);
}
INSTANTIATE_TEST_SUITE_P(Attempt, EachLineRung, testing::Range<std::size_t>(0, 6), [](const auto& each) {
  std::string name = lineRungs()[each.param].name;
  std::replace(name.begin(), name.end(), '-', '_');
  return name;
});

// Serial bytes of a K-line are the content itself.
TEST(Envelope, APlaintextOnAKLineIsFoundNowhere) {
  const TemporaryFolder f;
  const std::string secret = kSecret;
  Bytes answer = {0x5A, 0x90};
  answer.insert(answer.end(), secret.begin(), secret.end());
  ::setenv("PIN16_LOG", "debug", 1);
  const Ran ran = overKLine(f, {{50, kwp(0x11, 0xF1, {0x1A, 0x90})},
                                {200, kwp(0xF1, 0x11, answer)},  // its bytes take 47 ms on the line
                                {200, secret.substr(0, 20)}});   // and bytes that make no message
  ::unsetenv("PIN16_LOG");
  EXPECT_EQ(attemptOf(ran).at("rung").as_string(), "through");
  const std::string shown = runPin16({"review", "a.pcapng"}, f.path()).out +
                            runPin16({"review", "a.pcapng", "--lines"}, f.path()).out +
                            runPin16({"review", "a.pcapng", "--json"}, f.path()).out;
  EXPECT_EQ(found(f, ran.out + ran.err + shown), "");
}

/// The serial bytes of an adapter with AT commands that shows all traffic are the content in hex digits.
TEST(Envelope, APlaintextThroughAnAtAdapterIsFoundNowhere) {
  const TemporaryFolder f;
  std::string shown;  // the transfer as lines: identifier and data, no blanks
  for (const Said& s : secretTransfer())
    if (s.lines.size() > 5) shown += s.lines.substr(1, 3) + s.lines.substr(5);
  boost::asio::io_context io;
  link::PtyDevice* at = nullptr;
  std::string line;
  link::PtyDevice device(io, f.file("adapter"), [&](std::string_view heard) {
    for (const char c : heard) {
      if (c != '\r') {
        line += c;
        continue;
      }
      const std::string command = std::exchange(line, {});
      at->write(command == "ATMA"    ? shown
                : command == "ATDPN" ? "6\r\r>"
                : command == "ATRV"  ? "12.4V\r\r>"
                                     : "OK\r\r>");
    }
  });
  at = &device;
  std::thread serving([&] { io.run(); });
  ::setenv("PIN16_LOG", "debug", 1);
  const Ran ran = runPin16({"listen", "at:adapter?protocol=can11-500&monitor=on", "--attempt", "--for", "5",
                            "--json", "-o", "a.pcapng"},
                           f.path());
  ::unsetenv("PIN16_LOG");
  io.stop();
  serving.join();
  EXPECT_EQ(attemptOf(ran).at("rung").as_string(), "through") << ran.err << device.heard;
  const std::string reviewed = runPin16({"review", "a.pcapng"}, f.path()).out +
                               runPin16({"review", "a.pcapng", "--lines"}, f.path()).out +
                               runPin16({"review", "a.pcapng", "--json"}, f.path()).out;
  EXPECT_EQ(found(f, ran.out + ran.err + reviewed), "");
}

/// A device that answers everything with content: another adapter than the one that is meant, or one in the
/// middle of its bus's traffic. What it says while it is opened is not quoted.
TEST(Envelope, WhatADeviceSaysWhileItIsOpenedIsNotQuoted) {
  for (const char* scheme : {"slcan", "at"}) {
    const TemporaryFolder f;
    boost::asio::io_context io;
    link::PtyDevice* at = nullptr;
    const std::string said = std::string(kSecret) + "\r\r>";
    link::PtyDevice device(io, f.file("adapter"), [&](std::string_view) { at->write(said); });
    at = &device;
    std::thread serving([&] { io.run(); });
    ::setenv("PIN16_LOG", "debug", 1);
    const std::string uri = scheme == std::string("at") ? "at:adapter?protocol=can11-500" : "slcan:adapter";
    const Ran ran =
        runPin16({"listen", uri, "--attempt", "--for", "3", "--json", "-o", "a.pcapng"}, f.path());
    ::unsetenv("PIN16_LOG");
    io.stop();
    serving.join();
    EXPECT_NE(device.heard, "");
    const std::string shown = runPin16({"review", "a.pcapng", "--lines"}, f.path()).out;
    EXPECT_EQ(found(f, ran.out + ran.err + shown), "") << scheme << ran.err;
  }
}

}  // namespace
}  // namespace pin16::test
