// SPDX-License-Identifier: Apache-2.0
#include "core/limits/limits.hpp"

namespace pin16::limits {

std::vector<Limit> timingLimits() {
  const char* const transport =
      "ISO 15765-2:2016, quoted by an open-source UDS library's documentation (chapter CAN)";
  const char* const obd_transport =
      "ISO 15765-4:2005 network layer timing table, as repeated on a public page";
  const char* const uds =
      "ISO 14229-2, quoted by an open-source UDS library's documentation (UDS Time Parameters)";
  const char* const kline = "ISO 14230-2 timing texts quoted word for word in two public K-line source files";
  const char* const wake_up =
      "ISO 14230-2 fast initialisation 25 ms and 50 ms; +-1 ms as quoted in a public bench script";
  const char* const own = "own figure";
  return {
      // ISO 15765-2: timeouts that end a transfer, and performance that a sound node keeps
      {"timing.n_as_ms", 1000, "ms", transport, "read"},
      {"timing.n_ar_ms", 1000, "ms", transport, "read"},
      {"timing.n_bs_ms", 1000, "ms", transport, "read"},
      {"timing.n_cr_ms", 1000, "ms", transport, "read"},
      {"timing.n_br_plus_n_ar_ms", 900, "ms", transport, "read"},
      {"timing.n_cs_plus_n_as_ms", 900, "ms", transport, "read"},
      // legislated OBD is tighter: a miss is a warning only
      {"timing.obd_n_as_ms", 25, "ms", obd_transport, "read-secondary"},
      {"timing.obd_n_ar_ms", 25, "ms", obd_transport, "read-secondary"},
      {"timing.obd_n_bs_ms", 75, "ms", obd_transport, "read-secondary"},
      {"timing.obd_n_cr_ms", 150, "ms", obd_transport, "read-secondary"},
      {"timing.obd_n_br_plus_n_ar_ms", 25, "ms", obd_transport, "read-secondary"},
      {"timing.obd_n_cs_plus_n_as_ms", 50, "ms", obd_transport, "read-secondary"},
      {"timing.obd_p2_max_ms", 50, "ms", "ISO 15031-5:2011 Table 7, as transcribed in a public header file",
       "read"},
      // ISO 14229-2: how fast a module answers
      {"timing.p2_server_max_ms", 50, "ms", uds, "read"},
      {"timing.p2_star_server_max_ms", 5000, "ms", uds, "read"},
      {"timing.s3_server_ms", 5000, "ms", uds, "read"},
      // K-line, ISO 9141-2 and ISO 14230-2: initialisation at 5 baud (W), then between bytes and messages (P)
      {"timing.kline_w5_min_ms", 300, "ms", kline, "read"},
      {"timing.kline_tinil_min_ms", 24, "ms", wake_up, "read"},
      {"timing.kline_tinil_max_ms", 26, "ms", wake_up, "read"},
      {"timing.kline_twup_min_ms", 49, "ms", wake_up, "read"},
      {"timing.kline_twup_max_ms", 51, "ms", wake_up, "read"},
      {"timing.kline_w1_min_ms", 60, "ms", kline, "read"},
      {"timing.kline_w1_max_ms", 300, "ms", kline, "read"},
      {"timing.kline_w2_min_ms", 5, "ms", kline, "read"},
      {"timing.kline_w2_max_ms", 20, "ms", kline, "read"},
      {"timing.kline_w3_max_ms", 20, "ms", kline, "read"},
      {"timing.kline_w4_min_ms", 25, "ms", kline, "read"},
      {"timing.kline_w4_max_ms", 50, "ms", kline, "read"},
      {"timing.kline_p1_max_ms", 20, "ms", kline, "read"},
      {"timing.kline_p2_max_ms", 50, "ms", "SAE J1979 K-line timing quoted in a public document", "read"},
      {"timing.kline_p3_min_ms", 55, "ms", kline, "read"},
      {"timing.kline_p3_max_ms", 5000, "ms", kline, "read"},
      {"timing.kline_p4_min_ms", 5, "ms", kline, "read"},
      {"timing.kline_p4_max_ms", 20, "ms", kline, "read"},
      {"timing.kline_p2_star_max_ms", 5000, "ms",
       "ISO 14230-2 P2 after a response pending, in a public header file", "read"},
      // a session of ours is kept well within P3 max; an answer is over after three times P2 max without more
      {"timing.kline_keep_ms", 2500, "ms", "own figure, half of P3 max", "own"},
      {"timing.line_quiet_ms", 150, "ms", "own figure, three times P2 max", "own"},
      {"timing.line_start_ms", 8000, "ms",
       "own figure, more than two initialisations at 5 baud with the idle time before them", "own"},
      // how long we wait: longer than the limit, so that a slow module is seen and called late
      {"timing.client_wait_ms", 1000, "ms", own, "own"},
      {"timing.client_margin_ms", 1000, "ms", own, "own"},
      // a sweep: five times P2, and never faster than one request each 60 ms
      {"timing.sweep_wait_ms", 250, "ms", own, "own"},
      {"timing.sweep_spacing_ms", 60, "ms", own, "own"},
      // an attempt of the other equipment: when it counts as over, when another frame counts as a repeat
      {"attempt.silence_end_ms", 60000, "ms",
       "own figure: an operator's answer to a dialogue of the other program", "own"},
      {"attempt.repeat_max_ms", 2, "ms",
       "common practice, no source: the quickest periodic messages come every 5 ms", "practice"},
      // the gate; a job can only make these stricter
      {"gate.quiet_after_foreign_ms", 10000, "ms", "own figure, twice S3 server", "own"},
      {"gate.load_max_share", 0.05, "1", own, "own"},
      {"gate.error_burst_count", 5, "1", own, "own"},
      {"gate.error_burst_ms", 100, "ms", own, "own"},
  };
}

}  // namespace pin16::limits
