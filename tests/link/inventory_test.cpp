// SPDX-License-Identifier: Apache-2.0
#include "core/link/inventory.hpp"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

namespace pin16::link {
namespace {

namespace fs = std::filesystem;

/// A sysfs in small, laid out as the kernel's documentation has it (sysfs-bus-usb, sysfs-tty).
class SerialPorts : public testing::Test {
 protected:
  void SetUp() override {
    std::string pattern = testing::TempDir() + "pin16-sysfs-XXXXXX";
    root_ = mkdtemp(pattern.data());
    fs::create_directories(root_ / "class/tty");
  }
  void TearDown() override { fs::remove_all(root_); }
  void write(const fs::path& file, const char* text) {
    fs::create_directories((root_ / file).parent_path());
    std::ofstream(root_ / file) << text << '\n';
  }
  void tty(const char* name, const fs::path& device) {
    fs::create_directories(root_ / "class/tty" / name);
    if (device.empty()) return;
    fs::create_directories(root_ / device);
    fs::create_directory_symlink(root_ / device, root_ / "class/tty" / name / "device");
  }
  [[nodiscard]] std::vector<SerialEntry> found() const {
    return findSerialPorts((root_ / "class/tty").string());
  }
  fs::path root_;
};

TEST_F(SerialPorts, UsbIdsComeFromTheDeviceAboveTheInterface) {
  const fs::path usb = "devices/pci0/usb1/1-2";
  write(usb / "idVendor", "1209");
  write(usb / "idProduct", "0001");
  write(usb / "serial", "A1B2");
  write(usb / "manufacturer", "Bench");
  write(usb / "product", "Adapter");
  tty("ttyACM0", usb / "1-2:1.0");
  fs::create_directories(root_ / "drivers/cdc_acm");
  fs::create_directory_symlink(root_ / "drivers/cdc_acm", root_ / usb / "1-2:1.0/driver");

  const auto all = found();
  ASSERT_EQ(all.size(), 1U);
  EXPECT_EQ(all[0].device, "/dev/ttyACM0");
  EXPECT_EQ(all[0].driver, "cdc_acm");
  EXPECT_EQ(all[0].vendor, "1209");
  EXPECT_EQ(all[0].product, "0001");
  EXPECT_EQ(all[0].serial, "A1B2");
  EXPECT_EQ(all[0].text, "Bench Adapter");
}

TEST_F(SerialPorts, ConsolesAndEmptySlotsAreNoPorts) {
  tty("tty0", "");
  tty("ttyS0", "devices/platform/serial8250");
  tty("ttyS1", "devices/platform/serial8250");
  write("class/tty/ttyS0/type", "4");
  write("class/tty/ttyS1/type", "0");
  const auto all = found();
  ASSERT_EQ(all.size(), 1U);
  EXPECT_EQ(all[0].device, "/dev/ttyS0");
  EXPECT_EQ(all[0].vendor, "");
}

TEST(InventoryTest, SaysWhyThereIsNoCanInterface) {
  const Inventory i = takeInventory();
  EXPECT_EQ(i.can.empty(), !i.can_text.empty());
}

TEST(CheckAdapterTest, LinkThatDoesNotOpenIsReportedWithAdvice) {
  const auto r = checkAdapter(*parseUri("socketcan:pin16none"), std::nullopt, std::chrono::milliseconds(1));
  ASSERT_TRUE(r);
  EXPECT_FALSE(r->opened);
  EXPECT_TRUE(r->proven.empty());
  ASSERT_FALSE(r->not_proven.empty());
  EXPECT_FALSE(r->next.empty());
}

}  // namespace
}  // namespace pin16::link
