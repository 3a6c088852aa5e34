// SPDX-License-Identifier: Apache-2.0
/// Other programs read what we write, and we read what they write: tshark, capinfos, mergecap (Wireshark
/// 4.0), dumpcap's file in captures/, scapy 2.5. A tool that is missing is a failure, not a skip.

#include <fmt/format.h>
#include <gmock/gmock.h>

#include "support.hpp"

namespace pin16::capture {
namespace {

using namespace event;
using namespace testing;
using ::testing::HasSubstr;

class Tools : public CaptureTest {};

/// One line of every CAN frame as tshark sees it, sorted out of its fields.
std::string tsharkFrames(const std::string& file) {
  return runTool("tshark -r '" + file +
                 "' -Y \"can or canfd\" -T fields -E separator=, -e frame.time_epoch -e can.id -e can.len -e "
                 "can.flags.xtd "
                 "-e can.flags.rtr -e data.data 2>/dev/null");
}

/// The same line from our own reading.
std::string ourFrames(const std::string& file) {
  std::string out;
  for (const Event& e : readAll(file).of(Kind::frame)) {
    const CanFrame f = e.frame();
    const bool classic = !f.fd() && !f.error();
    const std::string time =
        fmt::format("{}.{:09}", e.header.t_ns / kNsPerSecond, e.header.t_ns % kNsPerSecond);
    // tshark names neither identifier nor flags of an error frame, no remote flag of an FD one
    out += fmt::format("{},{},{},{},{},{}\n", time, f.error() ? "" : std::to_string(f.id()), f.length,
                       f.error() ? "" : (f.extended() ? "1" : "0"), classic ? (f.remote() ? "1" : "0") : "",
                       f.error() ? "" : toHex(f.payload()));
  }
  return out;
}

TEST_F(Tools, TsharkSeesTheFramesOfOurFilesAsWeWroteThem) {
  const Batch b = everyKind();
  record(path("a.pcapng"), b);
  const std::string seen = tsharkFrames(path("a.pcapng"));
  EXPECT_EQ(linesOf(seen).size(), 7U);
  EXPECT_EQ(seen, ourFrames(path("a.pcapng")));
  EXPECT_THAT(seen, HasSubstr("1795001000.127456789,2024,4,0,0,03410c1a\n"));
}

TEST_F(Tools, TsharkShowsNumbersDirectionsAndOneCommentForEachRecord) {
  const Batch b = everyKind();
  record(path("a.pcapng"), b);
  const auto lines =
      linesOf(runTool("tshark -r " + path("a.pcapng") +
                      " -T fields -E separator=';' -e frame.packet_id -e frame.packet_flags_direction "
                      "-e frame.interface_name -e frame.comment 2>/dev/null"));
  ASSERT_EQ(lines.size(), b.headers.size());
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const Header& h = b.headers[i];
    const std::string link = fmt::format("socketcan:can{}", h.link);
    if (h.kind == Kind::frame) {
      EXPECT_EQ(lines[i], fmt::format("{};{};{};", h.sequence,
                                      (h.flags & kOutbound) != 0 ? "0x00000002" : "0x00000001", link));
    } else {
      EXPECT_THAT(lines[i], HasSubstr(h.kind == Kind::bytes ? ";pin16-bytes;" : ";pin16-records;"));
      EXPECT_GT(lines[i].size() - lines[i].rfind(';'), 10U) << lines[i];
    }
  }
  EXPECT_THAT(lines[1], HasSubstr("link 0: link socketcan:can0 up, 500000 bit/s, listen-only (proven)"));
}

TEST_F(Tools, CapinfosAcceptsOurFile) {
  record(path("a.pcapng"), everyKind());
  const std::string info = runTool("capinfos " + path("a.pcapng"));
  for (const char* expected :
       {"pcapng", "Number of packets:   25", "Strict time order:   True", "Capture application: pin16 test",
        "Capture oper-sys:    an operating system", "Capture hardware:    a machine",
        "Capture comment:     a comment", "Name = socketcan:can0",
        "Description = CAN interface: 500000 bit/s, listen-only (proven), times by kernel", "Speed = 500000",
        "Number of stat entries = 1", "Comment = Pin16 link 1", "Time resolution = 0x09"})
    EXPECT_THAT(info, HasSubstr(expected));
}

TEST_F(Tools, AFileRewrittenByMergecapOrTsharkIsReadAlike) {
  record(path("a.pcapng"), everyKind());
  runTool("mergecap -w " + path("b.pcapng") + " " + path("a.pcapng"));
  runTool("tshark -r " + path("a.pcapng") + " -w " + path("c.pcapng") + " 2>/dev/null");
  const All a = readAll(path("a.pcapng"));
  for (const char* copy : {"b.pcapng", "c.pcapng"}) {
    SCOPED_TRACE(copy);
    const All all = readAll(path(copy));
    ASSERT_EQ(all.events.size(), a.events.size());
    for (std::size_t i = 0; i < a.events.size(); ++i) {
      EXPECT_EQ(std::memcmp(&all.events[i].header.sequence, &a.events[i].header.sequence, 16), 0)
          << "number and time";
      EXPECT_EQ(all.events[i].header.link, a.events[i].header.link);
      EXPECT_EQ(all.events[i].payload, a.events[i].payload);
    }
  }
}

TEST_F(Tools, WeReadDumpcapsFileAsTsharkDoes) {
  const std::string file = PIN16_SOURCE_DIR "/captures/dumpcap-obd-uds.pcapng";
  const All all = readAll(file);
  EXPECT_TRUE(all.damage().empty());
  ASSERT_EQ(all.events.size(), 29U);
  ASSERT_EQ(all.links.size(), 1U);
  EXPECT_EQ(all.links[0].name, "vcan0");
  EXPECT_THAT(all.section.application, HasSubstr("Dumpcap"));
  EXPECT_TRUE(all.links[0].statistics.reported);
  EXPECT_EQ(all.foreign_losses, 0U);
  EXPECT_TRUE(all.events[28].frame().error());
  EXPECT_EQ(tsharkFrames(file), ourFrames(file));
}

constexpr const char* kScapy = R"(
import sys, logging
logging.getLogger("scapy").setLevel(logging.ERROR)
from scapy.config import conf
conf.contribs["CAN"] = {"swap-bytes": False, "remove-padding": True}
from scapy.layers.can import CAN
from scapy.utils import wrpcap, wrpcapng
frames = [CAN(identifier=0x7E8, length=3, data=b"\x06\x41\x00"),
          CAN(identifier=0x18DAF110, flags="extended", length=8, data=bytes(range(8))),
          CAN(identifier=0x123, flags="remote_transmission_request", length=0),
          CAN(identifier=0x20, flags="error", length=8, data=bytes(8))]
for i, f in enumerate(frames):
    f.time = 1795000000 + i
wrpcap(sys.argv[1] + ".le", frames, linktype=227, endianness="<")
wrpcap(sys.argv[1] + ".be", frames, linktype=227, endianness=">")
wrpcap(sys.argv[1] + ".ns", frames, linktype=227, nano=True)
)";

TEST_F(Tools, WeReadWhatScapyWrites) {
  std::ofstream(path("make.py")) << kScapy;
  runTool("/usr/bin/python3 " + path("make.py") + " " + path("scapy"));
  for (const char* form : {".le", ".be", ".ns"}) {
    SCOPED_TRACE(form);
    const All all = readAll(path("scapy") + form);
    EXPECT_TRUE(all.damage().empty());
    ASSERT_EQ(all.events.size(), 4U);
    EXPECT_EQ(all.events[0].frame(), CanFrame::make(0x7E8, false, Bytes{0x06, 0x41, 0x00}));
    EXPECT_EQ(all.events[1].frame(), CanFrame::make(0x18DAF110, true, Bytes{0, 1, 2, 3, 4, 5, 6, 7}));
    EXPECT_TRUE(all.events[2].frame().remote());
    EXPECT_EQ(all.events[3].frame().word, kErrorFlag | 0x20);
    for (Ns i = 0; i < 4; ++i)
      EXPECT_EQ(all.events[static_cast<std::size_t>(i)].header.t_ns, (1'795'000'000 + i) * kNsPerSecond);
    EXPECT_EQ(tsharkFrames(path("scapy") + form), ourFrames(path("scapy") + form));
  }
}

TEST_F(Tools, ScapyReadsWhatWeWrite) {
  record(path("a.pcapng"), everyKind());
  std::ofstream(path("read.py")) << R"(
import sys, logging
logging.getLogger("scapy").setLevel(logging.ERROR)
from scapy.utils import RawPcapNgReader
for data, meta in RawPcapNgReader(sys.argv[1]):
    if meta.linktype == 227:
        print(data.hex())
)";
  std::string ours;
  for (const Event& e : readAll(path("a.pcapng")).of(Kind::frame)) ours += toHex(e.payload) + "\n";
  EXPECT_EQ(runTool("/usr/bin/python3 " + path("read.py") + " " + path("a.pcapng")), ours);
}

}  // namespace
}  // namespace pin16::capture
