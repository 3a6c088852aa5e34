// SPDX-License-Identifier: Apache-2.0
/// The real commands over one served bench with other equipment on its bus: a whole job from free checks to
/// its read-out, its cost held against the bench's own count; and each rung, made by a fault of the bench.
#include <fmt/format.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/json/parse.hpp>
#include <boost/json/serialize.hpp>
#include <boost/json/value.hpp>
#include <filesystem>
#include <map>
#include <sstream>
#include <thread>

#include "run_pin16.hpp"

namespace pin16::test {
namespace {

namespace fs = std::filesystem;
namespace json = boost::json;
using std::chrono::milliseconds;
using testing::HasSubstr;

const fs::path kScenarios = fs::path(PIN16_SOURCE_DIR) / "captures/scenarios";

std::string other(const std::string& more = "requests = [\"22F190\", \"22F187\", \"22F18C\"]",
                  const std::string& fields = "") {
  return "\n[[module]]\nname = \"other equipment\"\nfeed = \"source\"\nboot_A = 0.1\nrun_A = 0.1\n"
         "request_id = 0x7A1\nanswer_id = 0x7A9\n" +
         fields + "read_out = { " + more + " }\n";
}

/// A shipped scenario with other equipment on its bus, served; and what its meters read, by point and power.
class Yard {
 public:
  /// `change` goes over the scenario's text; `more` stands behind its modules.
  Yard(
      const TemporaryFolder& f, const std::string& scenario, const std::string& more = other(),
      const std::function<void(std::string&)>& change = [](std::string&) {})
      : folder_(f.file(scenario)) {
    fs::create_directory(folder_);
    std::string text = readFile((kScenarios / scenario / "scenario.toml").string());
    change(text);
    const std::size_t faults = std::min(text.find("\n[[fault]]"), text.size());
    text.insert(faults, more);
    writeFile(folder_ + "/scenario.toml", text);
    std::istringstream lines(runPin16({"bench", folder_, "--readings"}, f.path()).out);
    for (std::string line; std::getline(lines, line);) {
      const std::size_t eq = line.find('='), blank = line.find(' '), power = line.find("power=");
      if (power == std::string::npos) continue;
      const std::string value = line.substr(eq + 1, blank - eq - 1);
      const std::string state = line.substr(power + 6, line.find(' ', power) - power - 6);
      read_[line.substr(0, eq) + " " + state] = value.substr(0, value.find_first_not_of("-0123456789."));
      if (value == "lit" || value == "dark") read_[line.substr(0, eq) + " " + state] = value;
    }
    served.emplace(folder_, "slcan", folder_ + "/at", true);
  }
  [[nodiscard]] std::string bus() const { return "slcan:" + folder_ + "/at/slcan?bitrate=500000"; }

  /// The technician at the terminal: everything is cleared, each question is answered by the scenario's
  /// meter.
  [[nodiscard]] std::string answer(const std::string& asked) {
    const auto has = [&](const char* what) { return asked.find(what) != std::string::npos; };
    if (has("Your name")) return "Kim";
    if (has("go on without knowing")) return "yes";
    if (has("switch the module's power on") || has("if it comes on all the same")) {
      served->say("power on");
      std::this_thread::sleep_for(milliseconds(1500));
      return "on";
    }
    if (has("take power off and type")) {
      served->say("power off");
      return "off";
    }
    for (const auto& [point, value] : read_) {
      const std::string name = point.substr(0, point.find(' ')), state = point.substr(point.find(' ') + 1);
      if (has((": " + name).c_str()) && has(("power " + state + "\r").c_str())) return value;
    }
    return "";
  }
  std::optional<ServedBench> served;

 private:
  std::string folder_;
  std::map<std::string, std::string> read_;
};

json::value parsed(const std::string& text) {
  boost::system::error_code fault;
  auto v = json::parse(text, fault);
  EXPECT_FALSE(fault) << text;
  return fault ? json::object() : v;
}

struct Attempt {
  Ran listened;
  json::value live, review;
};

/// `listen --attempt`, and once it records, what the other equipment does.
Attempt attempt(const TemporaryFolder& f, Yard& yard, const std::string& capture,
                const std::function<void()>& during) {
  ::setenv("XDG_RUNTIME_DIR", f.path().c_str(), 1);
  Attempt out;
  std::thread listening([&] {
    out.listened = runPin16({"listen", "--attempt", "--job", "job.toml", yard.bus(), "--for", "9", "--json",
                             "--no-plugins", "-o", capture},
                            f.path());
  });
  Ran noted;
  for (int i = 0; i < 100; ++i) {
    std::this_thread::sleep_for(milliseconds(200));
    noted = runPin16({"note", "the other program is started"}, f.path());
    if (noted.exit_code == 0) break;
  }
  EXPECT_EQ(noted.exit_code, 0) << noted.err;
  std::this_thread::sleep_for(milliseconds(1500));
  during();
  listening.join();
  ::unsetenv("XDG_RUNTIME_DIR");
  out.live = parsed(out.listened.out);
  out.review =
      parsed(runPin16({"review", capture, "--job", "job.toml", "--json", "--no-plugins"}, f.path()).out);
  return out;
}

/// To its end.
Attempt readOut(const TemporaryFolder& f, Yard& yard) {
  return attempt(f, yard, "a.pcapng", [&] {
    yard.served->say("read-out");
    std::this_thread::sleep_for(milliseconds(1500));
    EXPECT_EQ(runPin16({"note", "--attempt", "end", "read-out complete"}, f.path()).exit_code, 0);
  });
}

std::string check(const TemporaryFolder& f, Yard& yard, const std::string& capture, int* exit_code) {
  return dialogue(
      f.path(), {"check", "--job", "job.toml", yard.bus() + "&listen=no", "--ask", "-o", capture},
      [&](const std::string& asked) { return yard.answer(asked); }, exit_code);
}

json::value ledgerOf(const TemporaryFolder& f) {
  // A passive check of no link measures nothing and costs nothing: it shows what the ledger has.
  const Ran shown = runPin16({"check", "--job", "bare.toml", "--json", "-o", "shown.pcapng"}, f.path());
  return parsed(shown.out).at("ledger");
}

void jobLike(const TemporaryFolder& f, const std::string& scenario) {
  const std::string text = readFile((kScenarios / scenario / "job.toml").string());
  writeFile(f.file("job.toml"), text);
  writeFile(f.file("bare.toml"), text.substr(0, text.find("[[link]]")));
}

TEST(WholeJob, FromFreeChecksToThroughItCostsExactlyOnePowerUp) {
  const TemporaryFolder f;
  jobLike(f, "removed-sound");
  Yard yard(f, "removed-sound");
  int code = -1;
  const std::string said = check(f, yard, "c.pcapng", &code);
  EXPECT_EQ(code, 0) << said;
  EXPECT_LT(said.find("R(pin6,pin14), "), said.find("switch the module's power on")) << said;
  EXPECT_THAT(said, HasSubstr("pin16 listen --attempt --job job.toml"));
  const Attempt tried = readOut(f, yard);
  EXPECT_EQ(tried.listened.exit_code, 0) << tried.listened.err;
  const auto& a = tried.review.at("attempts").at(0);
  EXPECT_EQ(a.at("rung").as_string(), "through");
  EXPECT_EQ(a.at("power_up").to_number<int>(), 1);
  EXPECT_EQ(a.at("said").as_string(), "read-out complete");
  EXPECT_TRUE(tried.review.at("sent").as_array().empty());

  const auto truth = parsed(yard.served->end());
  EXPECT_EQ(truth.at("read_out").as_string(), "done");
  EXPECT_EQ(truth.at("answered").to_number<int>(), 3);
  EXPECT_EQ(truth.at("switched_on").to_number<int>(), 1);
  EXPECT_EQ(truth.at("module_starts").to_number<int>(), 1);
  const auto sent = parsed(runPin16({"review", "c.pcapng", "--json"}, f.path()).out).at("sent").as_array();
  EXPECT_GT(sent.size(), 0U);
  EXPECT_EQ(truth.at("our_frames").to_number<std::size_t>(), sent.size());  // none more since
  const std::string ledger = readFile(f.file("job.toml.ledger"));
  EXPECT_EQ(std::count(ledger.begin(), ledger.end(), '\n'), 1) << ledger;
  fs::rename(f.file("job.toml.ledger"), f.file("bare.toml.ledger"));
  EXPECT_EQ(ledgerOf(f).at("supply_rises").to_number<int>(), 1);
}

class FeedOnTheWrongSide : public testing::TestWithParam<const char*> {};

TEST_P(FeedOnTheWrongSide, CostsWhatTheLedgerSays) {
  const TemporaryFolder f;
  jobLike(f, "fed-in-place-sound");
  int rises = 0, starts = 0;
  {
    Yard wrong(f, GetParam());
    int code = -1;
    const std::string said = check(f, wrong, "w.pcapng", &code);
    EXPECT_EQ(code, 1) << said;
    EXPECT_THAT(said, HasSubstr("before anything is changed, take power off"));
    const auto truth = parsed(wrong.served->end());
    rises += truth.at("switched_on").to_number<int>();
    starts += truth.at("module_starts").to_number<int>();
  }
  Yard right(f, "fed-in-place-sound");
  int code = -1;
  const std::string said = check(f, right, "c.pcapng", &code);
  EXPECT_EQ(code, 0) << said;
  EXPECT_EQ(readOut(f, right).review.at("attempts").at(0).at("rung").as_string(), "through");
  const auto truth = parsed(right.served->end());
  rises += truth.at("switched_on").to_number<int>();
  starts += truth.at("module_starts").to_number<int>();

  fs::rename(f.file("job.toml.ledger"), f.file("bare.toml.ledger"));
  const auto ledger = ledgerOf(f);
  EXPECT_EQ(rises, 2);
  EXPECT_EQ(starts, std::string(GetParam()) == "supply-side-fuse-in" ? 2 : 1);
  EXPECT_EQ(ledger.at("supply_rises").to_number<int>(), rises);
  EXPECT_EQ(ledger.at("supply_rises").to_number<int>() - ledger.at("missed").to_number<int>(), starts)
      << readFile(f.file("bare.toml.ledger"));
}
INSTANTIATE_TEST_SUITE_P(WholeJob, FeedOnTheWrongSide,
                         testing::Values("supply-side-fuse-in", "supply-side-fuse-out"),
                         [](const auto& each) {
                           std::string name = each.param;
                           std::replace(name.begin(), name.end(), '-', '_');
                           return name;
                         });

// ---- each rung

struct Rung {
  const char* name;     ///< of the case
  const char* rung;     ///< as it must be called
  const char* breaker;  ///< who broke off; null: nobody
  std::string more;     ///< the other equipment
  std::function<void(std::string&)> change;
  std::function<void(Yard&)> during;
};

void askNow(Yard& yard) { yard.served->say("read-out"); }
/// One more field of the job's module.
std::function<void(std::string&)> module(const std::string& field) {
  return [field](std::string& text) { text.insert(text.find("request_id = 0x7A1"), field + "\n"); };
}
std::function<void(std::string&)> fault(const std::string& name) {
  return [name](std::string& text) { text += "\n[[fault]]\nname = \"" + name + "\"\n"; };
}

std::vector<Rung> rungs() {
  const std::string requests = "requests = [\"22F190\"]";
  const auto nothing = [](std::string&) {};
  // 300 bytes at 100 ms between its frames take 4 s.
  const auto longAnswer = [](std::string& text) {
    const std::size_t at = text.find("0PN16BEN6H0000001");
    text.replace(at, 17, std::string(300, 'x'));
  };
  return {{"no_bit", "no-bit", nullptr, other(requests), nothing, [](Yard&) {}},
          {"errors_only", "errors-only", nullptr, other(requests, "bitrate = 250000\n"), fault("module-dead"),
           askNow},
          {"receiver_absent", "unacknowledged", nullptr, other(requests), fault("module-dead"), askNow},
          {"receiver_mute", "silent", nullptr, other(requests), fault("module-mute"), askNow},
          {"receiver_refuses", "negative", nullptr, other("requests = [\"22F190\", \"22F1AA\"]"), nothing,
           askNow},
          {"receiver_pending", "pending", nullptr, other(requests),
           module("pending = 1\npending_every_ms = 60000"), askNow},
          {"receiver_loses_its_supply", "cut", "module", other(requests, "separation_ms = 100\n"), longAnswer,
           [](Yard& yard) {
             askNow(yard);
             std::this_thread::sleep_for(milliseconds(1500));
             yard.served->say("power off");
           }},
          {"sender_gives_no_flow_control", "cut", "other-equipment",
           other(requests + ", flow_control = \"none\""), nothing, askNow},
          {"complete", "through", nullptr, other(), nothing, askNow}};
}

class BenchRung : public testing::TestWithParam<std::size_t> {};

TEST_P(BenchRung, IsNamedLiveInReviewAndThroughReplay) {
  const Rung rung = rungs()[GetParam()];
  const TemporaryFolder f;
  jobLike(f, "removed-sound");
  Yard yard(f, "removed-sound", rung.more, rung.change);
  yard.served->say("power on");
  std::this_thread::sleep_for(milliseconds(1500));
  const Attempt tried = attempt(f, yard, "a.pcapng", [&] { rung.during(yard); });
  EXPECT_EQ(tried.listened.exit_code, std::string(rung.rung) == "through" ? 0 : 1) << tried.listened.err;
  const Ran again = runPin16({"listen", "replay:a.pcapng?pace=fast", "--attempt", "--job", "bare.toml",
                              "--json", "--no-plugins", "-o", "b.pcapng"},
                             f.path());
  for (const auto& [where, document] :
       {std::pair{"live", tried.live}, {"review", tried.review}, {"replay", parsed(again.out)}}) {
    const auto& a = document.at("attempts").at(0);
    EXPECT_EQ(a.at("rung").as_string(), rung.rung) << where << json::serialize(a);
    if (rung.breaker == nullptr) continue;
    EXPECT_EQ(a.at("broken_by"), json::value(rung.breaker)) << where;
  }
  const auto truth = parsed(yard.served->end());
  EXPECT_EQ(truth.at("our_frames").to_number<int>(), 0);  // whatever went on, no bit of ours
  EXPECT_EQ(truth.at("read_out").as_string() == "done", std::string(rung.rung) == "through");
}
INSTANTIATE_TEST_SUITE_P(Attempt, BenchRung, testing::Range<std::size_t>(0, 9),
                         [](const auto& each) { return std::string(rungs()[each.param].name); });

}  // namespace
}  // namespace pin16::test
