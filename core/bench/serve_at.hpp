// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The bench's interface as a serial OBD-II adapter with an AT command set, protocols 1 to 9. Commands and
/// habits: common practice, no source. Answered are those of the table; every other one, and what an option
/// says it does not know, gets `?`.
///
/// The bench's modules are on one medium, CAN unless an option says otherwise; on a line medium they answer
/// as line_modules.hpp says, and protocols of other media find nobody.
///
/// | from the host, `AT` before each | means |
/// |---|---|
/// | `Z`, `WS`, `D` | restart; the same; settings as after a restart |
/// | `I`, `@1` | what it says of itself |
/// | `E0 E1 L0 L1 S0 S1 H0 H1` | echo, line feeds, blanks, headers; all on after a restart |
/// | `SP n`, `TP n`, `DP`, `DPN` | set protocol, tell it; 0 after a restart |
/// | `CAF0 CAF1 CFC0 CFC1` | formatting, automatic flow control; on after a restart |
/// | `SH x`, `CP x`, `CF x`, `CM x`, `AR` | header, priority, filter, mask, answers chosen by itself |
/// | `AL`, `NL` | messages of more than 7 bytes are shown and taken, or cut; cut after a restart |
/// | `SW x` | pause between messages of its own that keep a session, 00 none; on after a restart |
/// | `IIA x` | address of the initialisation at 5 baud; 33 after a restart |
/// | `ST x` | time-out in 4 ms; 200 ms after a restart |
/// | `BI` | no request of its own before the first one |
/// | `MA` | show everything until a byte comes; acknowledges all the same |
/// | `RV` | V(pin16,pin4) |
/// | `AT0-2 M0 M1 CSM0 CSM1 R1` | taken, without effect on the bench |
///
/// Hex digits are a request: up to 7 bytes, or a frame's 8 with formatting off. It then shows what passes its
/// filter until its time-out, and says NO DATA if nothing came, CAN ERROR if its frame was not acknowledged
/// within 100 ms (own figure). An empty line repeats the last request. Any byte ends listening: STOPPED.
///
/// On a K-line the first request, and the first after 5 s of silence, initialises the line: BUS INIT: OK, or
/// ERROR where no module woke. Messages are shown whole, with header and check byte (headers off: data).
///
/// It lives on the interface's supply: without, it is dead; when supply comes back it says LV RESET and has
/// lost its settings.

#include <deque>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/base/result.hpp"
#include "core/bench/line_modules.hpp"
#include "core/bench/served_device.hpp"
#include "core/bench/world.hpp"

namespace pin16::bench {

/// What such adapters differ in.
struct AtHabits {
  std::string says = "OBD adapter";
  Ns delay_ns = 0;                     ///< before everything it says
  std::vector<std::string> refuses{};  ///< commands without AT, by their beginning
  bool own_request = true;             ///< 01 00 to everybody before the first request, unless bypassed
  double noise_share = 0;              ///< of the bytes it says: damaged, lost, or a NUL before them
  std::uint64_t seed = 1;
  std::optional<std::uint64_t> dies_after_bytes{};  ///< of those it says
  event::Medium medium = event::Medium::can;        ///< of the bench's modules
  bool five_baud = true, fast = true;               ///< K-line: ways of initialisation that wake them
  std::size_t buffer_lines = 0;  ///< frames within 100 ms of monitoring that fill its buffer; 0 endless
};

/// refuses=E0+L0, delay_ms=20, noise=0.002, dies_after=300, buffer_lines=5, own_request=off, seed=1,
/// says=TEXT, medium=can|j1850-pwm|j1850-vpw|iso9141-2|iso14230-4, init=both|5baud|fast|none.
/// ErrorKind::usage names the option that is none or whose value is out of range.
[[nodiscard]] Result<AtHabits> atHabits(const std::vector<std::pair<std::string, std::string>>& options);

/// Pure protocol: no I/O, no clock, no threads.
class AtAdapter final : public ServedDevice {
 public:
  /// `world` must outlive the adapter.
  AtAdapter(World& world, Ns now_ns, Write write, AtHabits habits = {});

  void take(Ns now_ns, std::string_view bytes) override;
  [[nodiscard]] Ns nextDue() const override;
  void onTime(Ns now_ns) override;
  void onFrame(Ns t_ns, const event::CanFrame& frame, bool outbound) override;
  void onController(std::string_view state, int tx_errors) override;
  void onOverrun() override;

  static constexpr std::size_t kLineMax = 64;

  /// Messages of the host that were on the line, whole; the bytes of initialisations among them: an address,
  /// or StartCommunication.
  std::vector<Bytes> on_line;

 private:
  /// What a restart brings back.
  struct Settings {
    bool echo = true, feeds = true, blanks = true, headers = true, formats = true, flows = true;
    bool bypassed = false;
    char protocol = '0';
    std::uint32_t header = 0x7DF;  ///< 29 bit: with the priority
    std::uint32_t priority = 0x18;
    Bytes line_header{};
    std::uint8_t wake_address = kEverybody;
    bool long_messages = false, keeps = true;
    std::optional<std::uint32_t> filter, mask;
    Ns timeout_ns = 200 * kNsPerMs;
  };
  enum class Doing : std::uint8_t { prompt, initialising, sending, listening, monitoring };

  void obey(Ns now_ns, const std::string& line);
  [[nodiscard]] bool command(Ns now_ns, const std::string& name);
  [[nodiscard]] bool toggle(const std::string& name);
  [[nodiscard]] bool addressing(const std::string& name);
  [[nodiscard]] bool setProtocol(Ns now_ns, char number);
  void request(Ns now_ns, const std::string& digits);
  void requestLine(Ns now_ns, Bytes data);
  void initialised(Ns now_ns);
  void sendLine(Ns now_ns);
  void messageLine(const event::Line& message);
  [[nodiscard]] bool lineSetting(const std::string& name);
  void restart(Ns now_ns, const char* why);
  void openBus(Ns now_ns);
  void prompt(std::string_view last_line);
  void line(std::string_view text);
  void say(std::string_view text);
  void put(std::string_view text);
  void frameLine(const event::CanFrame& frame);
  void flow(const event::CanFrame& first);
  [[nodiscard]] bool passes(const event::CanFrame& frame) const;
  [[nodiscard]] bool extended() const { return set_.protocol == '7' || set_.protocol == '9'; }
  [[nodiscard]] std::string volts() const;
  [[nodiscard]] std::uint32_t random();

  World& world_;
  Write write_;
  const AtHabits habits_;
  Settings set_;
  Doing doing_ = Doing::prompt;
  Ns now_ns_ = 0;
  std::string line_;
  bool too_long_ = false;
  std::string last_request_;
  std::deque<std::pair<Ns, std::string>> waiting_;  ///< said later
  bool alive_ = false, was_alive_ = false, begun_ = false;
  event::Medium medium_ = event::Medium::can;  ///< of the protocol
  event::Line line_out_;                       ///< sent once the line is initialised
  std::vector<std::size_t> awake_;             ///< K-line: modules in session
  Ns line_ns_ = kNoTime;                       ///< end of the last message on the line
  std::deque<std::pair<Ns, event::Line>> line_in_;
  Ns until_ns_ = kNoTime;  ///< end of initialising, sending or listening
  std::optional<event::CanFrame> sent_;
  bool heard_ = false;
  std::size_t lines_ = 0;  ///< shown since lines_ns_
  Ns lines_ns_ = 0;
  std::uint64_t said_ = 0;
  std::uint64_t random_;
};

}  // namespace pin16::bench
