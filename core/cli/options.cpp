// SPDX-License-Identifier: Apache-2.0
#include "core/cli/options.hpp"

#include <unistd.h>

#include <CLI/CLI.hpp>
#include <cstdio>

#include "core/bench/bench.hpp"
#include "core/cli/cli.hpp"
#include "core/link/link.hpp"
#include "core/plugin/runner.hpp"
#include "core/recorder/recorder.hpp"
#include "core/supply/supply.hpp"

namespace pin16::cli {
namespace {

/// The recorder process: its configuration comes packed on standard input, its first word goes to stdout.
int record() {
  Bytes in;
  std::uint8_t chunk[4096];
  for (ssize_t n = 0; (n = ::read(STDIN_FILENO, chunk, sizeof chunk)) > 0;)
    in.insert(in.end(), chunk, chunk + n);
  recorder::Config config;
  if (!unpack(in, config) || config.file.empty() || config.socket.empty())
    return fail({ErrorKind::usage, "`pin16 record` is started by the other commands, not by hand", "",
                 "use `pin16 listen`"});
  return recorder::runRecorder(config, STDOUT_FILENO);
}

std::string uriHelp() {
  std::string text = "link, one of";
  for (const auto& s : link::schemes()) text += "\n  " + s.help;
  return text;
}

void addUris(CLI::App* command, Options& o, bool required) {
  auto* option = command->add_option("URI", o.uris, uriHelp());
  if (required) option->required();
}
void addOutput(CLI::App* command, Options& o) {
  command->add_option("-o,--output", o.output, "capture to write (default: pin16-TIME-COMMAND.pcapng here)");
}
void addJson(CLI::App* command, Options& o) {
  command->add_flag("--json", o.json, "one JSON document on stdout");
}
void addPlugins(CLI::App* command, Options& o) {
  command->add_option("--plugin", o.plugins,
                      "a plugin's file beside those that are found; it runs in a process of its own");
  command->add_flag("--no-plugins", o.no_plugins, "run none");
}
void addRateKnown(CLI::App* command, Options& o) {
  command->add_flag(
      "--rate-known", o.rate_known,
      "you vouch for bit rate and format; without it nothing is sent before valid frames were seen");
  command->add_flag(
      "--search", o.search,
      "let an at: link that names no protocol ask on one after another; this sends on the bus at "
      "several rates");
}

}  // namespace

int fail(const Error& e) {
  std::fprintf(stderr, "pin16: %s\n", e.text().c_str());
  return exitCode(e.kind);
}

int run(int argc, char** argv) try {
  link::addBuiltInSchemes();
  pin16::bench::addBenchScheme();
  supply::addMeterSchemes();

  Options o;
  int (*chosen)(const Options&) = nullptr;
  CLI::App app(
      "Pin16 watches supply, bus and answers around a read-out attempt of a restraint control module.\n"
      "It listens unless told to send, and sends only read-only requests.",
      "pin16");
  app.require_subcommand(1);
  app.set_version_flag("--version", PIN16_VERSION);
  app.footer(
      "Exit: 0 ready, 1 not ready or nothing answered, 2 usage or input, 3 link, 4 gate, 5 record, 70 "
      "fault.");
  const auto add = [&](const char* name, const char* help, int (*command)(const Options&)) {
    auto* sub = app.add_subcommand(name, help);
    sub->callback([&chosen, command] { chosen = command; });
    return sub;
  };

  auto* c = add("check", "is everything sound before the read-out attempt? passive unless --ask", check);
  c->add_option("--job", o.job, "job file")->required();
  addUris(c, o, false);
  c->add_flag("--ask", o.ask, "also send standard read-only requests");
  c->add_option("--reading", o.readings, "a typed reading, for instance 'V(pin16,pin4)=12.4V power=source'");
  c->add_option("--readings", o.readings_file,
                "CSV file of readings: point,value[,unit,power,u,with,by,meter]");
  c->add_option("--operator", o.operator_file, "file with answers to what would be asked");
  c->add_option("--by", o.by, "who answers; stands in the record");
  c->add_option("--for", o.for_s, "seconds to listen (default 3)");
  c->add_option("--sweep", o.sweep, "identifiers to ask if the module's is unknown, for instance 7E0-7EF");
  addRateKnown(c, o);
  addPlugins(c, o);
  addOutput(c, o);
  addJson(c, o);

  c = add("listen", "record what is on the bus; the gate is shut", listen);
  addUris(c, o, false);
  c->add_option("--for", o.for_s, "seconds; else until Ctrl-C");
  c->add_option("--job", o.job, "job file: its links and meters, where none is named, its module");
  auto* attempt = c->add_flag("--attempt", o.attempt,
                              "the other equipment is about to try: says where it stopped, keeps no content");
  auto* changed = c->add_option("--changed", o.changed, "the one thing that differs from the attempt before");
  changed->needs(attempt);
  c->add_option("--unchanged", o.unchanged, "nothing does, and why")->needs(attempt)->excludes(changed);
  c->add_flag("--lines", o.lines, "print every event");
  addPlugins(c, o);
  addOutput(c, o);
  addJson(c, o);

  c = add("query", "send a read-only request and show who answers", query);
  std::string uri;  // a list would swallow the requests
  c->add_option("URI", uri, uriHelp())->required();
  c->add_option("REQUEST", o.words, "'01 0C', '09 02', '@7E0 22 F190' (an address before a request)")
      ->required();
  c->add_option("--answer", o.answer,
                "identifier that the answer comes on, where it does not follow from the request's");
  c->add_option("--job", o.job, "job file: its seal holds");
  addRateKnown(c, o);
  addOutput(c, o);
  addJson(c, o);

  c = add("rollcall", "who is there: 22 F190, one identifier at a time", rollcall);
  addUris(c, o, true);
  c->add_option("--job", o.job, "job file: its module is asked too");
  c->add_option("--sweep", o.sweep, "range of request identifiers, for instance 7E0-7EF");
  c->add_option("--repeat", o.repeats, "times each module is asked")->check(CLI::Range(1, 20));
  addRateKnown(c, o);
  addOutput(c, o);
  addJson(c, o);

  c = add("review", "what is in a capture", review);
  c->add_option("FILE", o.file, "pcapng or pcap")->required();
  auto* of_job =
      c->add_option("--job", o.job, "job file: its identifiers help to tell requests from other traffic");
  auto* every = c->add_flag("--lines", o.lines, "print every event instead of the summary");
  c->add_option("--find", o.find,
                "print only events that fit, for instance 'id 7E8 ended silent near 12:03:04 within 2'")
      ->excludes(every);
  c->add_flag("--sheet", o.sheet, "the readiness sheet, judged anew from what was recorded; with --job")
      ->needs(of_job)
      ->excludes(every);
  c->add_option("--threads", o.threads, "2: plugins work beside the reader; the results are the same")
      ->check(CLI::Range(1, 2));
  addPlugins(c, o);
  addJson(c, o);

  c = add("verify", "is the capture what was written?", verify);
  c->add_option("FILE", o.file, "capture with its .sha256 and .blocks beside it")->required();
  addJson(c, o);

  c = add("note", "write a line into the running recording", note);
  c->add_option("TEXT", o.words, "what to note");
  c->add_option("--by", o.by, "who says so");
  c->add_option(
       "--attempt", o.attempt_mark,
       "an attempt of the other equipment begins (TEXT: the one thing that was changed) or ends (TEXT: "
       "what the other program said, word for word)")
      ->check(CLI::IsMember({"begin", "end"}));
  c->add_flag("--end", o.end, "end the recording");
  addJson(c, o);

  c = add("scene", "what was found and left, photos, people, meters, clocks: kept beside the job", scene);
  c->add_option("--job", o.job, "job file")->required();
  auto* found = c->add_flag("--found", o.found, "go through what is looked at on arrival");
  c->add_flag("--left", o.left, "go through what is looked at before leaving")->excludes(found);
  c->add_option("--operator", o.operator_file,
                "with --found or --left: file of answers, `CODE: TEXT` a line");
  c->add_option("--photo", o.photos, "a picture's file: its hash is kept");
  c->add_option("--person", o.people, "\"NAME, why here\"");
  c->add_option("--meter", o.meters, "\"NAME, calibrated DATE\"");
  c->add_option("--clock", o.clocks,
                "\"NAME=2026-11-27T18:30:05Z\": what another computer's clock shows right now");
  c->add_option("--note", o.words, "anything else");
  c->add_option("--by", o.by, "who says so");
  c->add_flag("--cautions", o.cautions, "shows the cautions of this job and keeps that --by has read them");
  addJson(c, o);

  c = add("plan", "the order of the hook-up, and what power will do: before anything is joined", plan);
  c->add_option("--job", o.job, "job file")->required();
  addJson(c, o);

  c = add("why", "nobody answers: which cause is it, and what to measure next", why);
  c->add_option("--job", o.job, "job file")->required();
  c->add_option("--reading", o.readings,
                "a reading, for instance 'V(pin16,pin4)=0.1V;power=on' (docs/reasons.md)");
  c->add_option("--capture", o.file, "a capture: its readings, and what was heard");
  c->add_option("--without", o.without, "a reading that cannot be had");
  c->add_option("--priors", o.priors, "CSV file, id,weight,source: how often causes are met");
  c->add_option("--mended", o.mended, "a cause (its id) that was mended, and the module still keeps silent")
      ->type_name("CAUSE");
  c->add_flag("--numbers", o.numbers, "likelihood ratios, bits and minutes too");
  addJson(c, o);

  c = add("bench", "solve a simulated bench and print it, or serve it as devices", bench);
  auto* scenario = c->add_option("SCENARIO", o.file, "a scenario's name or folder");
  auto* list =
      c->add_flag("--list", o.list, "the shipped ones: how it is powered, and what is complained of");
  list->excludes(scenario);
  c->add_flag("--answers", o.answers, "with --list: their names and what is wrong too")->needs(list);
  auto* readings = c->add_flag("--readings", o.readings_only,
                               "what meters would read, one --reading a line, for check --operator");
  auto* serve = c->add_option("--serve", o.serve,
                              "be these devices, parted by commas, of: slcan, at, scpi (docs/bench.md)");
  serve->delimiter(',')->excludes(readings);
  auto* at = c->add_option("--at", o.at, "with --serve: folder for the links to the devices");
  serve->needs(at);
  at->needs(serve);
  c->add_option("--for", o.for_s, "with --serve: seconds; else until SIGTERM or Ctrl-C")->needs(serve);
  c->add_option("--operator", o.operator_file,
                "with --serve: FIFO, or - for standard input, that says what a person does: power on, power "
                "off, read-out")
      ->needs(serve);

  c = add("links", "what is plugged in; nothing is opened or sent", links);
  auto* look = c->add_option("--check", o.check_uri, "look closer at one link of ours before the yard");
  c->add_option("--with", o.with, "a second adapter on the same wires, for --check");
  c->add_option("--rate-search", o.rate_uri, "find the bus's bit rate, listening only: slcan:DEVICE")
      ->excludes(look);
  addJson(c, o);

  c = add("plugins", "which plugins are there, what they do and what can be set", plugins);
  c->add_option("--plugin", o.plugins, "a plugin's file beside those that are found");
  addJson(c, o);

  if (argc == 2 && std::string_view(argv[1]) == "plugin-helper")
    return plugin::helperMain(plugin::kHelperSocket);
  if (argc == 2 && std::string_view(argv[1]) == "record") return record();  // internal, not in the help
  try {
    app.parse(argc, argv);
  } catch (const CLI::Success& e) {
    return app.exit(e);
  } catch (const CLI::ParseError& e) {
    std::fprintf(
        stderr, "pin16: %s. `pin16 %s--help` shows what it takes\n", e.what(),
        app.get_subcommands().empty() ? "" : (app.get_subcommands().front()->get_name() + " ").c_str());
    return exitCode(ErrorKind::usage);
  }
  if (!uri.empty()) o.uris = {uri};
  return chosen(o);
} catch (const std::exception& e) {
  std::fprintf(stderr, "pin16: internal fault: %s. Please report it with the command line\n", e.what());
  return exitCode(ErrorKind::internal);
}

}  // namespace pin16::cli
