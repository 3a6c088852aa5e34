// SPDX-License-Identifier: Apache-2.0
#include "core/capture/verify.hpp"

#include <gmock/gmock.h>

#include "core/capture/hash.hpp"
#include "support.hpp"

namespace pin16::capture {
namespace {

using namespace event;
using namespace testing;
using ::testing::HasSubstr;
using ::testing::StartsWith;

constexpr std::uint64_t kBlock = 4U << 20U;

class Verify : public CaptureTest {
 protected:
  /// Over two hash blocks and a bit of frames in many flushes; crashed = never finished.
  std::string recording(const std::string& name, bool crashed = false) {
    auto w = Writer::create(path(name), facts());
    EXPECT_TRUE(w);
    Batch b;
    for (unsigned i = 0; i < kBatchEvents; ++i)
      b.addFrame(i, kStart_boot_ns, 0, CanFrame::make(i, false, Bytes(8, 0x55)), 0);
    while ((*w)->written() < 2 * kBlock + 100'000) {
      EXPECT_TRUE((*w)->take(b));
      EXPECT_TRUE((*w)->flush());
    }
    if (!crashed) {
      EXPECT_TRUE((*w)->finish());
    }
    return path(name);
  }
  static void flip(const std::string& name, std::uint64_t at) {
    std::fstream f(name, std::ios::in | std::ios::out | std::ios::binary);
    f.seekg(static_cast<std::streamoff>(at));
    const int c = f.get();
    f.seekp(static_cast<std::streamoff>(at));
    f.put(static_cast<char>(c ^ 1));
  }
  [[nodiscard]] int sha256sum(const std::string& name) const {
    const std::string command =
        "cd '" + dir_.string() + "' && sha256sum --strict --status -c '" + name + ".sha256'";
    return std::system(command.c_str());
  }
  static VerifyReport check(const std::string& name) {
    auto r = verify(name);
    EXPECT_TRUE(r);
    return r ? *r : VerifyReport{};
  }
};

TEST_F(Verify, AnUntouchedRecordingIsWholeAndSha256sumAgrees) {
  const std::string name = recording("a.pcapng");
  EXPECT_EQ(sha256sum("a.pcapng"), 0);
  const VerifyReport r = check(name);
  EXPECT_TRUE(r.whole);
  EXPECT_TRUE(r.sum_agrees && r.blocks_present);
  EXPECT_FALSE(r.first_difference || r.unvouched);
  EXPECT_EQ(r.vouched_bytes, std::filesystem::file_size(name));
  EXPECT_THAT(r.text, StartsWith("whole"));
}

TEST_F(Verify, EveryLineOfTheBlocksIsTheSha256OfItsRange) {
  const std::string name = recording("a.pcapng");
  const Bytes text = contents(name + ".blocks");
  const auto lines = linesOf(std::string(text.begin(), text.end()));
  ASSERT_EQ(lines.size(), 3U);
  for (std::size_t i = 0; i < lines.size(); ++i) {
    const auto entry = BlockLine::parse(lines[i]);
    ASSERT_TRUE(entry);
    EXPECT_EQ(entry->index, i);
    EXPECT_EQ(entry->offset, i * kBlock);
    // coreutils as the outside witness
    const std::string sum = runTool("tail -c +" + std::to_string(entry->offset + 1) + " '" + name +
                                    "' | head -c " + std::to_string(entry->length) + " | sha256sum");
    EXPECT_EQ(sum.substr(0, 64), entry->hex);
  }
}

TEST_F(Verify, TheFirstRangeThatDiffersIsNamed) {
  const std::string name = recording("a.pcapng");
  flip(name, kBlock + 5);
  flip(name, 2 * kBlock + 5);
  EXPECT_NE(sha256sum("a.pcapng"), 0);
  const VerifyReport r = check(name);
  EXPECT_FALSE(r.whole);
  ASSERT_TRUE(r.first_difference);
  EXPECT_EQ(r.first_difference->offset, kBlock);
  EXPECT_EQ(r.first_difference->length, kBlock);
  EXPECT_EQ(r.vouched_bytes, kBlock);
  EXPECT_THAT(r.text, HasSubstr("bytes 4194304 to 8388608"));
}

TEST_F(Verify, BytesAddedLaterAreVouchedForByNothing) {
  const std::string name = recording("a.pcapng");
  const auto size = std::filesystem::file_size(name);
  std::ofstream(name, std::ios::app) << "more";
  const VerifyReport r = check(name);
  EXPECT_FALSE(r.whole);
  EXPECT_FALSE(r.first_difference);
  EXPECT_EQ(r.vouched_bytes, size);
  ASSERT_TRUE(r.unvouched);
  EXPECT_EQ(r.unvouched->offset, size);
  EXPECT_EQ(r.unvouched->length, 4U);
}

TEST_F(Verify, AShortenedFileDiffersInItsLastBlock) {
  const std::string name = recording("a.pcapng");
  std::filesystem::resize_file(name, kBlock + 1000);
  VerifyReport r = check(name);
  EXPECT_FALSE(r.whole);
  ASSERT_TRUE(r.first_difference);
  EXPECT_EQ(r.first_difference->offset, kBlock);
  EXPECT_EQ(r.first_difference->length, 1000U);
  std::filesystem::resize_file(name, kBlock);
  r = check(name);
  ASSERT_TRUE(r.first_difference);
  EXPECT_EQ(r.first_difference->length, 0U);
  EXPECT_THAT(r.text, HasSubstr("ends at byte 4194304"));
}

TEST_F(Verify, AfterACrashTheBlocksVouchUpToTheLastWholeOne) {
  const std::string name = recording("a.pcapng", true);
  const VerifyReport r = check(name);
  EXPECT_FALSE(r.whole);
  EXPECT_FALSE(r.sum_present);
  EXPECT_FALSE(r.first_difference);
  EXPECT_EQ(r.vouched_bytes, 2 * kBlock);
  ASSERT_TRUE(r.unvouched);
  EXPECT_EQ(r.unvouched->offset, 2 * kBlock);
  EXPECT_EQ(r.unvouched->length, std::filesystem::file_size(name) - 2 * kBlock);
  EXPECT_THAT(r.text, HasSubstr("not ended properly"));
  EXPECT_THAT(r.text, HasSubstr("nothing vouches for bytes 8388608"));
}

TEST_F(Verify, ALineOfTheBlocksThatACrashCutOffDoesNotCount) {
  const std::string name = recording("a.pcapng", true);
  std::filesystem::resize_file(name + ".blocks", std::filesystem::file_size(name + ".blocks") - 1);
  EXPECT_EQ(check(name).vouched_bytes, kBlock);
}

TEST_F(Verify, WithoutSidecarsNothingVouches) {
  const std::string name = recording("a.pcapng");
  std::filesystem::remove(name + ".blocks");
  EXPECT_TRUE(check(name).whole) << "the sum is enough";
  std::filesystem::remove(name + ".sha256");
  const VerifyReport r = check(name);
  EXPECT_FALSE(r.whole);
  EXPECT_EQ(r.vouched_bytes, 0U);
  EXPECT_THAT(r.text, HasSubstr("both sidecars are missing"));
}

TEST_F(Verify, AChangedBlocksSidecarIsTold) {
  const std::string name = recording("a.pcapng");
  Bytes text = contents(name + ".blocks");
  text[20] = text[20] == '0' ? '1' : '0';
  (void)save("a.pcapng.blocks", text);
  const VerifyReport r = check(name);
  EXPECT_TRUE(r.whole);
  EXPECT_THAT(r.text, HasSubstr("that sidecar was changed"));
}

TEST_F(Verify, NamesThatSha256sumEscapesAreAcceptedByIt) {
  const std::string name = recording("a b\\c\nd.pcapng");
  EXPECT_EQ(sha256sum("a b\\c\nd.pcapng"), 0);
  EXPECT_TRUE(check(name).whole);
}

TEST_F(Verify, AMissingFileIsAnError) {
  const auto r = verify(path("none"));
  ASSERT_FALSE(r);
  EXPECT_EQ(r.error().kind, ErrorKind::input);
}

// FIPS 180-2, appendix B.1 and B.2.
TEST(Hash, AgreesWithThePublishedExamples) {
  const auto of = [](std::string_view text) {
    Sha256 h;
    for (const char c : text) {
      const auto byte = static_cast<std::uint8_t>(c);
      h.add({&byte, 1});
    }
    return h.finish();
  };
  EXPECT_EQ(of("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(of("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
}

}  // namespace
}  // namespace pin16::capture
