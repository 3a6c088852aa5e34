// SPDX-License-Identifier: Apache-2.0
// Inputs that the kernel reads. The files are made by hand from the kernel's
// Documentation/hwmon/sysfs-interface.rst (inN_input in mV, currN_input in mA, name, update_interval in ms)
// and Documentation/ABI/testing/sysfs-bus-iio
// ("offset to be added to raw prior to scaling", scale in mV or mA for one count).
#include "core/supply/sysfs.hpp"

#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <random>

#include "core/supply/supply.hpp"
#include "tests/supply/support.hpp"

namespace pin16::supply {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

constexpr const char* kHwmonPath = "class/hwmon/";
constexpr const char* kIioPath = "bus/iio/devices/";

Result<double> hwmon(const Folder& f, const std::string& target) {
  const auto input = findHwmon(f.path(), target);
  return input ? readInput(*input) : input.error();
}
Result<double> iio(const Folder& f, const std::string& target) {
  const auto input = findIio(f.path(), target);
  return input ? readInput(*input) : input.error();
}

TEST(Hwmon, MillivoltsAndMilliamperesByNameAndByFolder) {
  const Folder f;
  const std::string chip = std::string(kHwmonPath) + "hwmon3/";
  f.put(chip + "name", "powermeter\n");
  f.put(chip + "in1_input", "12600\n");
  f.put(chip + "in1_label", "bus\n");
  f.put(chip + "curr1_input", "-350\n");
  f.put(chip + "update_interval", "20\n");
  EXPECT_DOUBLE_EQ(*hwmon(f, "powermeter/in1"), 12.6);
  EXPECT_DOUBLE_EQ(*hwmon(f, "hwmon3/in1"), 12.6);
  EXPECT_DOUBLE_EQ(*hwmon(f, "powermeter/curr1"), -0.35);
  const auto input = findHwmon(f.path(), "powermeter/in1");
  ASSERT_TRUE(input);
  EXPECT_EQ(input->interval_ns, 20 * kNsPerMs);
  EXPECT_EQ(input->description, "hwmon powermeter, in1, bus");
}

TEST(Hwmon, NamesWhatIsThereWhenTheChipIsNot) {
  const Folder f;
  f.put(std::string(kHwmonPath) + "hwmon0/name", "board\n");
  f.put(std::string(kHwmonPath) + "hwmon0/in0_input", "5000\n");
  const auto missing = hwmon(f, "powermeter/in1");
  ASSERT_FALSE(missing);
  EXPECT_EQ(missing.error().kind, ErrorKind::link);
  EXPECT_THAT(missing.error().text(), HasSubstr("board (hwmon0)"));
  EXPECT_THAT(hwmon(f, "board/in7").error().text(), HasSubstr("no input in7"));
}

TEST(Hwmon, TwoChipsOfOneNameMustBeToldApart) {
  const Folder f;
  for (const char* folder : {"hwmon0/", "hwmon1/"}) {
    f.put(std::string(kHwmonPath) + folder + "name", "powermeter\n");
    f.put(std::string(kHwmonPath) + folder + "in1_input", "1000\n");
  }
  const auto both = hwmon(f, "powermeter/in1");
  ASSERT_FALSE(both);
  EXPECT_EQ(both.error().kind, ErrorKind::usage);
  EXPECT_THAT(both.error().text(), HasSubstr("hwmon0"));
  EXPECT_TRUE(hwmon(f, "hwmon1/in1"));
}

TEST(Hwmon, WhatIsNoNumberIsAnError) {
  const Folder f;
  const std::string chip = std::string(kHwmonPath) + "hwmon0/";
  f.put(chip + "name", "powermeter\n");
  for (const char* text : {"", "\n", "N/A\n", "12.6 V\n", "0x10\n", "nan\n", "inf\n", "12 6\n"}) {
    f.put(chip + "in1_input", text);
    EXPECT_FALSE(hwmon(f, "powermeter/in1")) << text;
  }
}

// (raw + offset) * scale, in mV.
TEST(Iio, RawWithItsOwnOrTheSharedScaleAndOffset) {
  const Folder f;
  const std::string dev = std::string(kIioPath) + "iio:device0/";
  f.put(dev + "name", "adc\n");
  f.put(dev + "in_voltage0_raw", "2048\n");
  f.put(dev + "in_voltage_scale", "0.805664062\n");
  EXPECT_NEAR(*iio(f, "adc/voltage0"), 2048 * 0.805664062e-3, 1e-12);
  f.put(dev + "in_voltage0_offset", "-48\n");
  EXPECT_NEAR(*iio(f, "iio:device0/voltage0"), 2000 * 0.805664062e-3, 1e-12);
  f.put(dev + "in_voltage0_scale", "0.5\n");
  EXPECT_NEAR(*iio(f, "adc/voltage0"), 1.0, 1e-12) << "the channel's own goes before the shared one";
  f.put(dev + "in_current3_raw", "100\n");
  f.put(dev + "in_current3_scale", "2.5\n");
  f.put(dev + "in_current_offset", "4\n");
  EXPECT_NEAR(*iio(f, "adc/current3"), 0.26, 1e-12);
  f.put(dev + "in_voltage5_input", "3300\n");
  EXPECT_NEAR(*iio(f, "adc/voltage5"), 3.3, 1e-12) << "scaled already";
}

TEST(Iio, WithoutAScaleThereIsNoValue) {
  const Folder f;
  f.put(std::string(kIioPath) + "iio:device0/name", "adc\n");
  f.put(std::string(kIioPath) + "iio:device0/in_voltage0_raw", "2048\n");
  const auto value = iio(f, "adc/voltage0");
  ASSERT_FALSE(value);
  EXPECT_THAT(value.error().text(), HasSubstr("no scale"));
}

// A chip that is pulled out and comes back under another number.
TEST(KernelMeter, GoesOnWhenItsDeviceComesBackUnderAnotherNumber) {
  const Folder f;
  const auto plug = [&](const char* folder, const char* value) {
    f.put(std::string(kHwmonPath) + folder + "/name", "powermeter\n");
    f.put(std::string(kHwmonPath) + folder + "/in1_input", value);
  };
  addMeterSchemes(f.path());
  boost::asio::io_context io;
  link::KeepingHost host;
  const auto uri = link::parseUri("hwmon:powermeter/in1?V=V(pin4,pin16)&every_ms=10&times=11&u_V=0.05");
  auto made = link::makeLink(*uri, {io, host, 0});
  ASSERT_TRUE(made) << made.error().text();
  link::Link& meter = **made;
  meter.open();
  ASSERT_TRUE(link::runUntil(io, [&] { return meter.state().condition == event::LinkCondition::missing; }));
  EXPECT_THAT(meter.state().text, HasSubstr("there is no powermeter"));
  plug("hwmon0", "1145\n");
  ASSERT_TRUE(link::runUntil(io, [&] { return samplesOf(host).size() >= 5; }));
  EXPECT_EQ(meter.state().condition, event::LinkCondition::up);
  std::filesystem::remove_all(f.file(std::string(kHwmonPath) + "hwmon0"));
  ASSERT_TRUE(link::runUntil(io, [&] { return meter.state().condition == event::LinkCondition::gone; }));
  const std::size_t before = samplesOf(host).size();
  plug("hwmon4", "1091\n");
  ASSERT_TRUE(link::runUntil(io, [&] { return samplesOf(host).size() > before + 2; }));
  const auto gaps = host.all<event::Gap>();
  ASSERT_THAT(gaps, SizeIs(1));
  const auto samples = samplesOf(host);
  EXPECT_EQ(gaps[0].from_ns, samples[before - 1].t_ns);
  EXPECT_EQ(gaps[0].to_ns, samples[before].t_ns);
  EXPECT_NEAR(samples.front().m.value, -12.595, 1e-9) << "11 x 1.145 V, the nodes swapped";
  EXPECT_NEAR(samples.back().m.value, -12.001, 1e-9);
  EXPECT_EQ(samples.back().m.point, "V(pin16,pin4)");
  EXPECT_EQ(samples.front().m.time_error_ns, -1);
  EXPECT_NEAR(static_cast<double>(samples[1].m.time_error_ns),
              static_cast<double>(samples[1].t_ns - samples[0].t_ns), 2)
      << "it may be as old as the one before";
  meter.close();
  EXPECT_EQ(meter.state().condition, event::LinkCondition::finished);
  EXPECT_THAT(host.frames, IsEmpty());
}

TEST(KernelMeter, RefusesAPointOfTheOtherUnitWhenTheInputIsThere) {
  const Folder f;
  f.put(std::string(kHwmonPath) + "hwmon0/name", "powermeter\n");
  f.put(std::string(kHwmonPath) + "hwmon0/curr1_input", "100\n");
  addMeterSchemes(f.path());
  boost::asio::io_context io;
  link::KeepingHost host;
  const auto made = link::makeLink(*link::parseUri("hwmon:powermeter/curr1?V=V(pin16,pin4)"), {io, host, 0});
  ASSERT_FALSE(made);
  EXPECT_THAT(made.error().text(), HasSubstr("measured in A"));
}

}  // namespace
}  // namespace pin16::supply
