// SPDX-License-Identifier: Apache-2.0
// ISO-TP against two programs from outside the project: scapy 2.5 (contrib.isotp: fragment(), the message
// builder) and Wireshark 4.0 (tshark, dissector iso15765). Neither needs a CAN interface. Both take one byte
// before the PCI as an address without asking whether it is extended or mixed addressing.
#include <gtest/gtest.h>
#include <unistd.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iostream>
#include <map>
#include <sstream>
#include <string>

#include "tests/protocol/wire.hpp"

namespace pin16::protocol {
namespace {

using event::CanFrame;

std::string run(const std::string& command) {
  std::string out;
  FILE* pipe = popen(command.c_str(), "r");
  if (pipe == nullptr) return out;
  std::array<char, 4096> part{};
  while (const std::size_t n = std::fread(part.data(), 1, part.size(), pipe)) out.append(part.data(), n);
  EXPECT_EQ(pclose(pipe), 0) << command;
  return out;
}
std::vector<std::string> linesOf(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}
std::string path(const std::string& name) {
  return testing::TempDir() + "pin16-isotp-" + std::to_string(getpid()) + "-" + name;
}
bool missing(const char* probe, const char* what) {
  if (std::system((std::string(probe) + " >/dev/null 2>&1").c_str()) == 0) return false;
  std::cout << "FELL BACK: " << what << " is not installed, its reading of ISO-TP was not compared\n";
  return true;
}
bool scapyMissing() {
  return missing("/usr/bin/python3 -c 'import scapy.contrib.isotp'", "scapy (python3-scapy)");
}

std::string python(const std::string& body) {
  const std::string script = path("scapy.py");
  std::ofstream(script) << "import logging; logging.disable(50)\n"
                           "from scapy.main import load_contrib\n"
                           "load_contrib('isotp')\n"
                           "from scapy.contrib.isotp import ISOTP, ISOTPMessageBuilder, ISOTPHeader\n"
                           "from scapy.contrib.isotp import ISOTPHeaderEA, ISOTP_FC\n"
                           "from scapy.layers.can import CAN\n"
                        << body;
  return run("/usr/bin/python3 " + script + " 2>/dev/null");
}

/// What a sender gives for a message, and the flow control that it got.
Wire sentBy(const Pair& pair, bool fd, const Bytes& message, Receiver::Settings rs = {}) {
  rs.most = 70000;
  Wire w(pair, fdSettings(fd), rs);
  w.run(message);
  EXPECT_EQ(w.got, message);
  return w;
}
std::string frameText(const CanFrame& f) {
  return std::to_string(f.id()) + " " + (f.extended() ? "1 " : "0 ") + toHex(f.payload());
}

constexpr std::size_t kLengths[] = {1,   2,   5,   6,   7,   8,   12,  13,   14,   20,   62,   63,
                                    100, 111, 112, 118, 255, 256, 700, 1000, 4094, 4095, 4096, 5000};

TEST(Scapy, FragmentsEveryAddressingAsWeDoAndWePutItsFramesTogether) {
  if (scapyMissing()) GTEST_SKIP();
  std::ostringstream cases;
  const auto pairs = everyAddressing(3);
  for (std::size_t p = 0; p < pairs.size(); ++p) {
    const auto prefix = pairs[p].prefix();
    for (const std::size_t n : kLengths)
      cases << "case(" << p << "," << n << "," << pairs[p].tx_id << ","
            << (prefix ? std::to_string(*prefix) : "None") << ")\n";
  }
  const auto lines =
      linesOf(python("def case(p, n, rx_id, ext):\n"
                     "  m = ISOTP(bytes((i*7+i//256)%256 for i in range(n)), rx_id=rx_id)\n"
                     "  m.rx_ext_address = ext\n"
                     "  print(p, n, *[bytes(f.data).hex() for f in m.fragment()])\n" +
                     cases.str()));
  ASSERT_EQ(lines.size(), pairs.size() * std::size(kLengths));
  for (const std::string& line : lines) {
    std::istringstream in(line);
    std::size_t p = 0;
    std::size_t n = 0;
    in >> p >> n;
    const Wire ours = sentBy(pairs[p], false, counting(n));
    Receiver::Settings settings;
    settings.most = 70000;
    Receiver rx(otherEnd(pairs[p]), settings);
    std::optional<Bytes> got;
    std::size_t count = 0;
    for (std::string theirs; in >> theirs; ++count) {
      const Bytes data = fromHex(theirs).value();
      const auto out = rx.onFrame(0, CanFrame::make(pairs[p].tx_id, pairs[p].extended, data));
      if (out.message) got = out.message;
      while (theirs.size() < 16) theirs += "cc";  // scapy does not pad
      ASSERT_LT(count, ours.sent.size()) << n;
      ASSERT_EQ(toHex(ours.sent[count].payload()), theirs) << n << " bytes, addressing " << p;
    }
    EXPECT_EQ(count, ours.sent.size());
    EXPECT_EQ(got, counting(n));
  }
}

TEST(Scapy, UnravelsOurInterleavedSessionsInEveryAddressing) {
  if (scapyMissing()) GTEST_SKIP();
  Dice dice(2015);
  std::array<std::vector<std::deque<CanFrame>>, 2> under_way;  // without and with a prefix
  std::array<std::map<std::string, int>, 2> wanted;
  for (std::uint32_t n = 4; n < 20; ++n)
    for (const Pair& pair : everyAddressing(n)) {
      const Bytes message = dice.bytes(1 + dice.below(600));
      const std::size_t prefix = pair.prefixSize();
      under_way[prefix].push_back(sentBy(pair, false, message).sent);
      ++wanted[prefix][std::to_string(pair.tx_id) + " " + std::to_string(pair.prefix().value_or(0)) + " " +
                       toHex(message)];
    }
  for (std::size_t prefix = 0; prefix < 2; ++prefix) {
    std::ofstream file(path("frames"));
    auto& queues = under_way[prefix];
    while (!queues.empty()) {
      const std::size_t i = dice.below(queues.size());
      file << frameText(queues[i].front()) << "\n";
      queues[i].pop_front();
      if (queues[i].empty()) queues.erase(queues.begin() + static_cast<std::ptrdiff_t>(i));
    }
    file.close();
    const auto lines = linesOf(python(
        "b = ISOTPMessageBuilder(" + std::string(prefix == 1 ? "True" : "False") +
        ")\n"
        "for l in open('" +
        path("frames") +
        "'):\n"
        "  i, x, d = l.split()\n"
        "  b.feed(CAN(identifier=int(i), flags='extended' if x == '1' else 0, data=bytes.fromhex(d)))\n"
        "for m in b: print(m.rx_id, m.rx_ext_address or 0, bytes(m.data).hex())\n"));
    EXPECT_EQ(lines.size(), prefix == 1 ? 16U * 4 : 16U * 3);
    std::map<std::string, int> got;
    for (const std::string& line : lines) ++got[line];
    EXPECT_EQ(got, wanted[prefix]);
  }
}

TEST(Scapy, ReadsOurFlowControlAndMakesItAlike) {
  if (scapyMissing()) GTEST_SKIP();
  std::ostringstream cases;
  std::vector<CanFrame> ours;
  for (const Pair& pair : everyAddressing(5))
    for (const FlowStatus status : {FlowStatus::cts, FlowStatus::wait, FlowStatus::overflow})
      for (const unsigned bs : {0U, 1U, 15U, 255U})
        for (const unsigned st : {0U, 0x7FU, 0xF1U, 0xF9U}) {
          ours.push_back(
              Receiver(pair).frame({status, static_cast<std::uint8_t>(bs), static_cast<std::uint8_t>(st)}));
          const auto prefix = pair.prefix();
          cases << "case(" << pair.tx_id << "," << (pair.extended ? "'extended'" : "0") << ","
                << (prefix ? std::to_string(*prefix) : "None") << "," << static_cast<int>(status) << "," << bs
                << "," << st << ",'" << toHex(ours.back().payload()) << "')\n";
        }
  const auto lines =
      linesOf(python("def case(i, x, ea, fs, bs, st, ours):\n"
                     "  fc = ISOTP_FC(fc_flag=fs, block_size=bs, separation_time=st)\n"
                     "  h = ISOTPHeader(identifier=i, flags=x) if ea is None else\\\n"
                     "      ISOTPHeaderEA(identifier=i, flags=x, extended_address=ea)\n"
                     "  made = bytes(h / fc)[8:].hex()\n"
                     "  raw = bytes(CAN(identifier=i, flags=x, data=bytes.fromhex(ours)))\n"
                     "  r = (ISOTPHeader if ea is None else ISOTPHeaderEA)(raw)\n"
                     "  c = r[ISOTP_FC]\n"
                     "  same = r.identifier == i and (ea is None or r.extended_address == ea) and\\\n"
                     "      (c.fc_flag, c.block_size, c.separation_time) == (fs, bs, st)\n"
                     "  print(made, same)\n" +
                     cases.str()));
  ASSERT_EQ(lines.size(), ours.size());
  for (std::size_t i = 0; i < ours.size(); ++i) {
    std::string theirs = lines[i].substr(0, lines[i].find(' '));
    while (theirs.size() < 16) theirs += "cc";
    EXPECT_EQ(toHex(ours[i].payload()), theirs);
    EXPECT_NE(lines[i].find("True"), std::string::npos) << lines[i];
  }
}

/// Classic pcap with LINKTYPE_CAN_SOCKETCAN (227), as the tcpdump project describes both.
void writePcap(const std::string& name, const std::vector<CanFrame>& frames) {
  std::ofstream out(name, std::ios::binary);
  const auto little = [&](std::uint32_t v, int bytes = 4) {
    for (int i = 0; i < bytes; ++i) out.put(static_cast<char>(v >> (8 * i)));
  };
  little(0xA1B2C3D4);
  little(2, 2), little(4, 2), little(0), little(0), little(65535), little(227);
  std::uint32_t second = 0;
  for (const CanFrame& f : frames) {
    const std::uint32_t size = 8U + f.length;
    little(++second), little(0), little(size), little(size);
    for (int shift = 24; shift >= 0; shift -= 8) out.put(static_cast<char>(f.word >> shift));
    out.put(static_cast<char>(f.length)), out.put(static_cast<char>(f.fd_flags)), out.put(0), out.put(0);
    out.write(reinterpret_cast<const char*>(f.data.data()), f.length);
  }
}

/// One after the other: Wireshark 4.0 does not put interleaved messages together.
void compareWithTshark(bool with_prefix) {
  std::vector<CanFrame> frames;
  std::vector<std::string> wanted;
  std::string ids11;
  std::string ids29;
  std::vector<Pair> pairs;
  for (const Pair& pair : everyAddressing(6))
    if ((pair.prefixSize() == 1) == with_prefix) pairs.push_back(pair);
  for (const Pair& pair : pairs) {
    for (const std::uint32_t id : {pair.tx_id, pair.rx_id})
      (pair.extended ? ids29 : ids11) += std::to_string(id) + ",";
    for (const bool fd : {false, true})
      for (const std::size_t n : kLengths) {
        Receiver::Settings rs;
        rs.block_size = static_cast<std::uint8_t>(n % 16);
        rs.st_min = n % 2 == 0 ? 0xF1 : 0x01;
        Wire w = sentBy(pair, fd, counting(n), rs);
        const bool single = w.sent.size() == 1;
        const std::string address = with_prefix ? std::to_string(pair.tx_prefix) : "";
        for (std::size_t i = 0; i < w.sent.size(); ++i) {
          frames.push_back(w.sent[i]);
          if (i + 1 == w.sent.size())
            wanted.push_back(std::to_string(pair.tx_id) + ";" + address + ";" + std::to_string(n) + ";" +
                             toHex(counting(n)));
        }
        if (single) continue;
        frames.push_back(w.flow.front());  // behind the message: it carries nothing
        wanted.push_back(std::to_string(pair.rx_id) + ";" +
                         (with_prefix ? std::to_string(pair.rx_prefix) : "") + ";FC" +
                         std::to_string(rs.block_size) + "," + std::to_string(rs.st_min));
      }
  }
  ids11.pop_back();
  ids29.pop_back();
  const std::string file = path("tshark.pcap");
  writePcap(file, frames);
  const auto lines = linesOf(
      run("tshark -r '" + file + "' -o 'iso15765.addressing:" + (with_prefix ? "Extended" : "Normal") +
          " addressing' -o iso15765.can.ids:" + ids11 + " -o iso15765.can.extended_ids:" + ids29 +
          " -T fields -E separator=';' -e can.id -e iso15765.address -e iso15765.message_type"
          " -e iso15765.data_length -e iso15765.reassembled.length -e iso15765.flow_control.bs"
          " -e iso15765.flow_control.stmin -e data.data 2>/dev/null"));
  ASSERT_EQ(lines.size(), frames.size());
  std::vector<std::string> got;
  for (const std::string& line : lines) {
    std::vector<std::string> f;
    std::istringstream in(line + ";");
    for (std::string field; std::getline(in, field, ';');) f.push_back(field);
    ASSERT_EQ(f.size(), 8U) << line;
    const std::string address = f[1].empty() ? "" : std::to_string(std::stoul(f[1], nullptr, 16));
    const std::string head = f[0] + ";" + address + ";";
    if (f[2] == "0x00") got.push_back(head + f[3] + ";" + f[7]);
    if (f[2] == "0x02" && !f[4].empty()) got.push_back(head + f[4] + ";" + f[7]);
    if (f[2] == "0x03")
      got.push_back(head + "FC" + std::to_string(std::stoul(f[5], nullptr, 16)) + "," + f[6]);
  }
  ASSERT_EQ(got.size(), wanted.size());
  for (std::size_t i = 0; i < got.size(); ++i) ASSERT_EQ(got[i], wanted[i]) << i;
}
TEST(Tshark, ReadsWhatWeSendWithoutPrefixClassicAndFd) {
  if (missing("tshark --version", "tshark")) GTEST_SKIP();
  compareWithTshark(false);
}
TEST(Tshark, ReadsWhatWeSendWithPrefixClassicAndFd) {
  if (missing("tshark --version", "tshark")) GTEST_SKIP();
  compareWithTshark(true);
}

}  // namespace
}  // namespace pin16::protocol
