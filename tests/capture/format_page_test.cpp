// SPDX-License-Identifier: Apache-2.0
/// docs/capture-format.md says what the writer writes.

#include <gtest/gtest.h>

#include <fstream>
#include <regex>

#include "support.hpp"

namespace pin16::capture {
namespace {

using namespace testing;

class FormatPage : public CaptureTest {};

/// The bytes of a line of the example: hex groups and quoted text, up to the words behind four blanks.
Bytes bytesOf(const std::string& line) {
  Bytes out;
  const std::string shown = line.substr(0, line.find("    "));
  const std::regex token("\"([^\"]*)\"|([0-9a-f]+)");
  for (std::sregex_iterator at(shown.begin(), shown.end(), token), end; at != end; ++at) {
    const std::string text = (*at)[1].str();
    const auto hex = fromHex((*at)[2].str());
    out.insert(out.end(), text.begin(), text.end());
    if (hex) out.insert(out.end(), hex->begin(), hex->end());
  }
  return out;
}

TEST_F(FormatPage, WorkedExampleIsWhatTheWriterWrites) {
  SectionFacts section;
  section.application = "pin16";
  section.utc_offset_ns = 1'795'000'000 * kNsPerSecond;
  auto writer = Writer::create(path("example.pcapng"), section);
  ASSERT_TRUE(writer);
  event::Batch b;
  b.addFrame(1, 5 * kNsPerSecond, 0, event::CanFrame::make(0x7E8, false, Bytes{0x03, 0x41, 0x0C, 0x1A}), 0);
  b.add(2, 5 * kNsPerSecond + kNsPerMs, event::kNoLink, event::Kind::note, event::Note{"lamp lit", "A"});
  ASSERT_TRUE((*writer)->take(b));
  ASSERT_TRUE((*writer)->finish());
  std::ifstream written(path("example.pcapng"), std::ios::binary);
  const std::string file((std::istreambuf_iterator<char>(written)), {});

  std::ifstream page(PIN16_SOURCE_DIR "/docs/capture-format.md");
  std::size_t lines = 0, bytes = 0;
  const std::regex numbered("^    ([0-9a-f]{3})  (.*)$");
  for (std::string line; std::getline(page, line);) {
    if (line.find("A whole file of ") != std::string::npos) {
      EXPECT_NE(line.find(std::to_string(file.size()) + " bytes"), std::string::npos);
    }
    std::smatch parts;
    if (!std::regex_match(line, parts, numbered)) continue;
    const std::size_t offset = std::stoul(parts[1].str(), nullptr, 16);
    const Bytes expected = bytesOf(parts[2].str());
    ASSERT_LE(offset + expected.size(), file.size()) << line;
    EXPECT_EQ(toHex(ByteView(expected)),
              toHex(ByteView(reinterpret_cast<const std::uint8_t*>(file.data()) + offset, expected.size())))
        << line;
    ++lines;
    bytes += expected.size();
  }
  EXPECT_GT(lines, 30U);
  EXPECT_GT(bytes, file.size() / 2) << "most of the file is shown";
}

}  // namespace
}  // namespace pin16::capture
