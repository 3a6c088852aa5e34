// SPDX-License-Identifier: Apache-2.0
#include "core/link/inventory.hpp"

#include <unistd.h>

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <map>

#include "core/link/can_socket.hpp"
#include "core/link/serial_line.hpp"

namespace pin16::link {
namespace {

namespace fs = std::filesystem;

std::string readLine(const fs::path& file) {
  std::ifstream in(file);
  std::string line;
  std::getline(in, line);
  return line;
}

/// The USB device that `device` is part of; empty if none.
fs::path usbDeviceOf(fs::path device) {
  std::error_code ec;
  for (; device.has_relative_path(); device = device.parent_path())
    if (fs::exists(device / "idVendor", ec)) return device;
  return {};
}

std::optional<SerialEntry> serialPort(const fs::path& tty) {
  std::error_code ec;
  const fs::path device = fs::canonical(tty / "device", ec);
  if (ec) return std::nullopt;                             // consoles, pseudo terminals
  if (readLine(tty / "type") == "0") return std::nullopt;  // a PC's slot for a port that is not there
  SerialEntry s;
  s.device = "/dev/" + tty.filename().string();
  const fs::path driver = fs::canonical(device / "driver", ec);
  if (!ec) s.driver = driver.filename();
  if (const fs::path usb = usbDeviceOf(device); !usb.empty()) {
    s.vendor = readLine(usb / "idVendor");
    s.product = readLine(usb / "idProduct");
    s.serial = readLine(usb / "serial");
    s.text = readLine(usb / "manufacturer");
    const std::string product = readLine(usb / "product");
    s.text += (s.text.empty() || product.empty() ? "" : " ") + product;
  }
  return s;
}

/// Counts what it sees; the two links' frames are compared by content.
class Counter final : public Host {
 public:
  struct PerLink {
    CheckedLink checked;
    std::map<Bytes, std::uint64_t> seen;  // frame as in a capture, and how often
  };
  explicit Counter(std::size_t links) : links_(links) {}

  void onFrame(std::uint16_t link, Ns /*t*/, const event::CanFrame& frame, bool /*outbound*/) override {
    PerLink& l = links_[link];
    if (frame.error()) {
      ++l.checked.error_frames;
      return;
    }
    ++l.checked.frames;
    Bytes bytes;
    event::Batch::writeFrame(bytes, frame);
    ++l.seen[bytes];
  }
  void onRecord(std::uint16_t link, Ns /*t*/, event::Kind kind, ByteView packed) override {
    event::Loss loss;
    if (kind == event::Kind::loss && unpack(packed, loss)) links_[link].checked.lost += loss.count;
  }
  [[nodiscard]] std::vector<PerLink>& links() { return links_; }
  [[nodiscard]] std::uint64_t common() const {
    if (links_.size() < 2) return 0;
    std::uint64_t n = 0;
    for (const auto& [bytes, count] : links_[0].seen) {
      const auto other = links_[1].seen.find(bytes);
      if (other != links_[1].seen.end()) n += std::min(count, other->second);
    }
    return n;
  }

 private:
  std::vector<PerLink> links_;
};

std::string countText(std::uint64_t n, const std::string& what) {
  return std::to_string(n) + " " + what + (n == 1 ? "" : "s");
}

void judgeLink(const CheckedLink& l, CheckReport& report) {
  const std::string& uri = l.state.uri;
  if (l.state.condition != event::LinkCondition::up) {
    report.not_proven.push_back(uri + ": it did not open: " + l.state.text);
    if (!l.state.advice.empty()) report.next.push_back(l.state.advice);
    return;
  }
  if (l.state.meter) {
    report.proven.push_back(uri + ": it answers: " + l.state.description);
    if (!l.state.text.empty()) report.not_proven.push_back(uri + ": that it measures: " + l.state.text);
    report.not_proven.push_back(uri + ": that it is clipped on where the link says");
    return;
  }
  report.proven.push_back(
      uri + ": opened; the driver answers (" + l.state.description + "); times: " + l.state.time_origin +
      (l.state.buffer_bytes > 0 ? ", receive buffer " + std::to_string(l.state.buffer_bytes) + " bytes"
                                : "") +
      ", controller " + l.state.controller);
  if (l.frames != 0)
    report.proven.push_back(uri + ": heard " + countText(l.frames, "valid frame") +
                            ", so adapter, wiring and bit rate are right for listening");
  else
    report.not_proven.push_back(uri +
                                ": heard no frame: the bus may sleep, or leads, bit rate or adapter be at "
                                "fault; silence does not tell which");
  if (l.error_frames != 0)
    report.proven.push_back(uri + ": the controller reported " + countText(l.error_frames, "error") +
                            ": look at bit rate, wiring and termination");
  if (l.lost != 0)
    report.proven.push_back(uri + ": " + countText(l.lost, "frame") +
                            " lost on the way: by the adapter, the line or the kernel");
  report.not_proven.push_back(uri +
                              ": that it can send; the check sends nothing, because only standard "
                              "read-only requests may go out on a bus");
}

void adviseSendTest(const std::vector<Uri>& uris, const std::vector<CanFacts>& facts, CheckReport& report) {
  const std::string& first = uris.front().target;
  const auto own =
      std::find_if(facts.begin(), facts.end(), [&](const CanFacts& f) { return f.name == first; });
  if (uris.front().scheme != "socketcan" || own == facts.end()) return;
  const auto lines = [&](const std::string& listener) {
    report.next.push_back("candump -n 1 " + listener);
    report.next.push_back("cansend " + first + " 123#5031362D54455354");
  };
  if (uris.size() > 1) {
    report.next.push_back(
        "To test sending: join the two adapters alone, away from any vehicle, 120 ohm at both ends, the same "
        "bit "
        "rate, neither in listen-only; then in two terminals:");
    lines(uris.back().target);
  } else if (own->loopback()) {
    report.next.push_back(
        first +
        " is in loopback mode, off the bus: its controller can be tested by itself; in two terminals:");
    lines(first);
  } else if (!own->virtualBus()) {
    report.next.push_back(
        "To test sending: a second adapter (links --check URI --with URI2), or the controller by itself in "
        "loopback "
        "mode, where the driver has it: sudo ip link set " +
        first + " down; sudo ip link set " + first + " up type can loopback on");
  }
}

}  // namespace

std::vector<SerialEntry> findSerialPorts(const std::string& class_tty) {
  std::vector<SerialEntry> all;
  std::error_code ec;
  for (const auto& entry : fs::directory_iterator(class_tty, ec))
    if (auto s = serialPort(entry.path())) all.push_back(std::move(*s));
  std::sort(all.begin(), all.end(),
            [](const SerialEntry& a, const SerialEntry& b) { return a.device < b.device; });
  return all;
}

void lookAtAccess(SerialEntry& port) {
  port.held_by = holdersOf(port.device);
  port.may_open = ::access(port.device.c_str(), R_OK | W_OK) == 0 || errno != EACCES;
  port.advice = port.may_open ? "" : noPermission(port.device).advice;
}

Inventory takeInventory() {
  Inventory inventory;
  inventory.serial = findSerialPorts();
  for (SerialEntry& port : inventory.serial) lookAtAccess(port);
  CanSocket probe;
  if (const int error = probe.open(1); error == EAFNOSUPPORT || error == EPROTONOSUPPORT) {
    inventory.can_text = "this kernel has no CAN (no SocketCAN in it, no module can-raw)";
    return inventory;
  }
  auto facts = readCanInterfaces();
  if (!facts) {
    inventory.can_text = facts.error().text();
    return inventory;
  }
  if (facts->empty())
    inventory.can_text =
        "no CAN interface; plug an adapter in, or for trying out: "
        "sudo ip link add dev vcan0 type vcan && sudo ip link set vcan0 up";
  for (CanFacts& f : *facts) {
    CanEntry& e = inventory.can.emplace_back();
    e.uri = "socketcan:" + f.name;
    e.text = describe(f);
    if (!f.up) e.advice = bringUpLine(f);
    e.facts = std::move(f);
  }
  return inventory;
}

Result<CheckReport> checkAdapter(const Uri& uri, const std::optional<Uri>& with,
                                 std::chrono::milliseconds listen) {
  std::vector<Uri> uris{uri};
  if (with) uris.push_back(*with);
  boost::asio::io_context io;
  Counter counter(uris.size());
  std::vector<std::unique_ptr<Link>> links;
  for (const Uri& u : uris) {
    auto link = makeLink(u, {io, counter, static_cast<std::uint16_t>(links.size())});
    if (!link) return link.error();
    links.push_back(*std::move(link));
  }
  for (const auto& l : links) l->open();
  io.run_for(listen);
  CheckReport report;
  report.opened = true;
  for (std::size_t i = 0; i < links.size(); ++i) {
    counter.links()[i].checked.state = links[i]->state();
    links[i]->close();
    report.links.push_back(counter.links()[i].checked);
    report.opened = report.opened && report.links[i].state.condition == event::LinkCondition::up;
    judgeLink(report.links[i], report);
  }
  report.common = counter.common();
  if (report.common != 0)
    report.proven.push_back("both heard the same " + countText(report.common, "frame") +
                            ": they are on one bus");
  else if (with && report.opened)
    report.not_proven.push_back("that both are on one bus: no frame was heard by both");
  const auto facts = readCanInterfaces();
  if (facts && report.opened) adviseSendTest(uris, *facts, report);
  return report;
}

}  // namespace pin16::link
