// SPDX-License-Identifier: Apache-2.0
// Files of the kernel's sysfs with damaged content; values against strtod of the C library.
#include <fcntl.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <random>

#include "core/supply/sysfs.hpp"

namespace pin16::supply {
namespace {

/// What the kernel writes, damaged: an error, or the number that the C library reads there.
TEST(SysfsMutations, ANumberOrAnError) {
  const char* more = std::getenv("PIN16_MUTATIONS");
  const int count = more != nullptr ? std::max(std::atoi(more), 1) : 5000;
  std::string sysfs = (std::filesystem::temp_directory_path() / "pin16-sysfs-XXXXXX").string();
  ASSERT_NE(::mkdtemp(sysfs.data()), nullptr);
  const std::string chip = sysfs + "/class/hwmon/hwmon0/";
  std::filesystem::create_directories(chip);
  std::ofstream(chip + "name") << "powermeter\n";
  std::ofstream(chip + "in1_input") << "12600\n";
  const auto input = findHwmon(sysfs, "powermeter/in1");
  ASSERT_TRUE(input);
  const int fd = ::open((chip + "in1_input").c_str(), O_WRONLY | O_CLOEXEC);
  ASSERT_GE(fd, 0);
  std::mt19937 random(0x1610);
  int values = 0;
  for (int i = 0; i < count; ++i) {
    constexpr const char* kGood[] = {"12600\n", "-350\n", "0.805664062\n", "1e3\n", "0\n"};
    std::string text = kGood[random() % std::size(kGood)];
    for (std::size_t n = 1 + random() % 3; n > 0 && !text.empty(); --n) {
      const std::size_t at = random() % text.size();
      switch (random() % 6) {
        case 0:
          text[at] = static_cast<char>(random());
          break;
        case 1:
          text.erase(at, 1 + random() % 3);
          break;
        case 2:
          text.insert(at, 1, "0123456789.-+eE nafix\n"[random() % 21]);
          break;
        case 3:
          text += kGood[random() % std::size(kGood)];
          break;
        case 4:
          text.insert(at, random() % 400, text[at]);
          break;
        default:
          text.resize(at);
      }
    }
    ASSERT_EQ(::ftruncate(fd, 0), 0);
    ASSERT_EQ(::pwrite(fd, text.data(), text.size(), 0), static_cast<ssize_t>(text.size()));
    const auto value = readInput(*input);
    if (!value) {
      ASSERT_EQ(value.error().kind, ErrorKind::link);
      continue;
    }
    ++values;
    ASSERT_LT(text.size(), 256U);
    ASSERT_DOUBLE_EQ(*value, std::strtod(text.c_str(), nullptr) / 1000) << text;
  }
  ::close(fd);
  std::filesystem::remove_all(sysfs);
  EXPECT_GT(values, count / 20);
}

}  // namespace
}  // namespace pin16::supply
