// SPDX-License-Identifier: Apache-2.0
// Every listed service asked and answered over 11 and 29 bit identifiers (ISO 15765-4), in one frame and in
// several, at once and after "response pending" (ISO 14229-1): what was asked, what came, and all the times.
#include <gtest/gtest.h>

#include "core/protocol/decoded.hpp"
#include "core/protocol/services.hpp"
#include "tests/protocol/world.hpp"

namespace pin16::protocol {
namespace {

struct Case {
  const char* request;
  const char* answer;
  const char* says;
};
const Case kCases[] = {
    {"01 0C", "41 0C 1A F8", "engine speed 1726 1/min"},
    {"01 05 0D 42", "41 05 7B 0D 00 42 31 38",
     "engine coolant temperature 83 degC, vehicle speed 0 km/h, control module voltage 12.6 V"},
    {"02 0C 00", "42 0C 00 1A F8", "engine speed in freeze frame 0 1726 1/min"},
    {"03", "43 06 01 00 02 00 03 00 43 00 82 00 C1 00",
     "number of trouble codes 6, trouble code: P0100, P0200, P0300, C0300, B0200, U0100"},
    {"06 00", "46 00 C0 00 00 01", "supported monitors: 01 02 20"},
    {"07", "47 00", "number of trouble codes 0"},
    {"09 02", "49 02 01 31 47 34 41 48 35 39 48 34 35 47 31 31 38 33 34 31",
     "VIN 1G4AH59H45G118341 (check digit matches)"},
    {"0A", "4A 01 01 33", "number of trouble codes 1, trouble code: P0133"},
    {"22 F1 8C", "62 F1 8C 52 43 4D 2D 30 30 30 2D 34 37 31 31", "F18C ECUSerialNumber: RCM-000-4711"},
    {"19 01 08", "59 01 00 00 00 02",
     "status bits that the module keeps: 00, trouble code format: ISO 15031-6, number of trouble codes 2"},
    {"19 02 08", "59 02 08 01 33 16 08 01 43 00 08",
     "status bits that the module keeps: 08 [confirmedDTC], number of trouble codes 2, trouble code: "
     "P0133-16 "
     "[confirmedDTC] (status 08), P0143-00 [confirmedDTC] (status 08)"},
    {"19 0A", "59 0A 08 01 33 16 00",
     "status bits that the module keeps: 08 [confirmedDTC], number of trouble codes 1, trouble code: "
     "P0133-16 (status "
     "00)"},
    {"22 F1 90", "7F 22 31", "negative response: 31 requestOutOfRange"},
};
struct Route {
  Target target;
  std::uint32_t request_id;  ///< that flow control goes to
  std::uint32_t answer_id;
};
const Route kRoutes[] = {{physical(0x7E1), 0x7E1, 0x7E9},
                         {functionalTarget(), 0x7E1, 0x7E9},
                         {physical(0x18DA58F1, true), 0x18DA58F1, 0x18DAF158},
                         {functionalTarget(true), 0x18DA58F1, 0x18DAF158}};

constexpr double kFrame_ms = 2;  ///< between the module's frames

/// The module sends `message` from `at` on; the frames it took.
int reply(World& w, const Route& route, const Bytes& message, Ns at) {
  w.until(at);
  Sender module({route.answer_id, route.request_id, route.target.extended});
  auto out = module.start(w.now, message);
  int frames = 0;
  while (out.send) {
    ++frames;
    w.inbound(*out.send);
    out = module.onConfirmed(w.now);
    w.until(w.now + ms(kFrame_ms));
    if (module.sending() && !out.send) out = module.onFrame(w.now, w.far.back());  // our flow control
  }
  EXPECT_FALSE(module.sending());
  return frames;
}

TEST(Exchanges, EveryServiceOverBothIdentifierLengthsAtOnceAndAfterPending) {
  int checked = 0;
  for (const Route& route : kRoutes)
    for (const Case& c : kCases)
      for (const int pending : {0, 1, 2}) {
        const Bytes request = hex(c.request);
        if (route.target.functional && !isObd(request[0])) continue;
        World w;  // now 1000 ms
        w.ask(route.target, c.request);
        Ns at = ms(1010);
        for (int i = 0; i < pending; ++i, at += ms(3000)) reply(w, route, {0x7F, request[0], 0x78}, at);
        const int frames = reply(w, route, hex(c.answer), at);
        w.until(at + ms(2000));
        ASSERT_EQ(w.results.size(), 1U) << c.request;
        ASSERT_EQ(w.results[0].exchanges.size(), 1U) << c.request;
        const event::Exchange& e = w.results[0].exchanges[0];
        EXPECT_EQ(e.ended, hex(c.answer)[0] == 0x7F ? event::Ended::negative : event::Ended::answered)
            << c.request;
        EXPECT_EQ(e.request_id, route.target.request_id);
        EXPECT_EQ(e.answer_id, route.answer_id);
        EXPECT_EQ(e.extended, route.target.extended);
        EXPECT_EQ(e.functional, route.target.functional);
        EXPECT_EQ(toHex(e.answer), toHex(hex(c.answer)));
        EXPECT_EQ(e.pending, pending);
        EXPECT_FALSE(e.late) << c.request << " " << pending;
        EXPECT_EQ(e.request_ns, ms(1000));
        EXPECT_DOUBLE_EQ(e.response_ms, 10);  // to the first frame of any response
        EXPECT_DOUBLE_EQ(e.complete_ms, 10 + 3000 * pending + kFrame_ms * (frames - 1)) << c.request;
        EXPECT_EQ(describeAnswer(e.request, e.answer), c.says);
        EXPECT_EQ(toText(decodeAnswer(e.request, e.answer)), c.says);
        // the request and, for an answer of several frames, one flow control
        EXPECT_EQ(w.far.size(), frames > 1 ? 2U : 1U) << c.request;
        ++checked;
      }
  EXPECT_EQ(checked, 3 * (2 * 13 + 2 * 8));
}

}  // namespace
}  // namespace pin16::protocol
