/* SPDX-License-Identifier: Apache-2.0 */
#ifndef PIN16_PLUGIN_H
#define PIN16_PLUGIN_H
/*
 * The interface of Pin16's plugins: plain C11, one header, nothing to link against. C++ authors take plugin.hpp.
 *
 * A plugin is a shared library with two data symbols:
 *   pin16_plugin_card   numbers only (struct pin16_card), read out of the file before anything of it is loaded:
 *                       another major, or a structure of another size, and the library is never opened.
 *   pin16_plugin_1      struct pin16_plugin, major 1: what the plugin is, as data, and its five functions.
 *
 * What happens to a plugin: create() once; take() with the events of the stream in order, any number at a time;
 * answered() when something asked has ended; finish() once at the end of the stream; destroy(). All calls come on
 * one thread. What a plugin concludes must not depend on where the events were cut into take() calls: the host cuts
 * as it likes, and its tests cut at random.
 *
 * Memory: everything handed over is valid during the call only, in both directions; who makes it frees it. Texts are
 * UTF-8, pointer and length, not terminated. Times are UTC in nanoseconds, PIN16_NO_TIME where a capture has none.
 *
 * Faults: an exception, a crash, an exit or a call that does not come back ends the plugin, not the recording: what
 * it had given stays, a finding names it. Values out of range are dropped and counted, never believed.
 *
 * A plugin sees and concludes; it never sends. It may ask the host for a request of its read-only list
 * (pin16_host.ask) and gets the exchange, or the reason why not. It shall never ask a person to measure at
 * deployment loops or at a module's own terminals.
 */
#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define PIN16_PLUGIN_MAJOR 1
/* Grows when members are appended to structures that carry their size, or functions to pin16_host. */
/* Minor 1: line messages and exchanges, pin16_job.line_address. */
#define PIN16_PLUGIN_MINOR 1
#define PIN16_CARD_MAGIC 0x3631504eU /* "NP16", little-endian */
#define PIN16_NO_TIME INT64_MIN
#define PIN16_NO_LINK 0xFFFFU

struct pin16_text {
  const char* data;
  size_t size;
};
struct pin16_bytes {
  const uint8_t* data;
  size_t size;
};

/* ---- the stream */

enum pin16_kind {
  PIN16_FRAME = 1,     /* struct pin16_frame */
  PIN16_BYTES = 2,     /* struct pin16_serial: raw bytes of a serial link */
  PIN16_SAMPLE = 3,    /* struct pin16_measurement, by an instrument */
  PIN16_LINK = 4,      /* struct pin16_link_state */
  PIN16_LOSS = 6,      /* struct pin16_loss */
  PIN16_GAP = 7,       /* struct pin16_gap */
  PIN16_SENT = 9,      /* struct pin16_sent: handed to a link by Pin16 */
  PIN16_POWER = 11,    /* struct pin16_power */
  PIN16_READING = 32,  /* struct pin16_measurement, typed by the operator */
  PIN16_NOTE = 33,     /* struct pin16_note */
  PIN16_MESSAGE = 64,  /* struct pin16_message: concluded by Pin16 from frames */
  PIN16_EXCHANGE = 65, /* struct pin16_exchange: likewise */
  /* Minor 1. K-line and J1850, where modules have addresses and no identifiers; never as the two above. */
  PIN16_LINE_MESSAGE = 66,  /* struct pin16_line_message */
  PIN16_LINE_EXCHANGE = 67, /* struct pin16_line_exchange */
};
/* A set of kinds, for pin16_plugin.kinds. */
#define PIN16_KIND_BIT(kind) (UINT64_C(1) << ((kind) < 32 ? (kind) : (kind) - 16))

enum { PIN16_OUTBOUND = 1 }; /* pin16_event.flags: sent by our own link */

/* 32 bytes of head; `body` points to the structure of the kind. Fixed for the major. */
struct pin16_event {
  uint64_t sequence; /* the order; never repeats. Concluded events carry that of the event that concluded them. */
  int64_t t_ns;
  const void* body;
  uint16_t link; /* index; PIN16_NO_LINK: the whole run */
  uint8_t kind;
  uint8_t flags;
  uint32_t body_size;
};

enum { PIN16_EXTENDED = 1, PIN16_REMOTE = 2, PIN16_ERROR = 4, PIN16_FD = 8, PIN16_BRS = 16, PIN16_ESI = 32 };
struct pin16_frame {
  uint32_t id;        /* 11 or 29 bits; of an error frame its class bits (linux/can/error.h) */
  uint32_t wire_bits; /* on the wire with stuff bits and intermission; 0: an error frame */
  int64_t wire_ns;    /* time on the wire; 0: bit rate not known */
  uint8_t flags;      /* PIN16_EXTENDED and so on */
  uint8_t length;     /* bytes of data; of a remote frame those asked for */
  uint16_t reserved;
  uint32_t reserved2;
  uint8_t data[64];
};
struct pin16_serial {
  struct pin16_bytes bytes;
};
enum pin16_power_state { PIN16_POWER_UNKNOWN = 0, PIN16_POWER_OFF = 1, PIN16_POWER_SOURCE = 2, PIN16_POWER_ON = 3 };
/* One value at a named point in SPICE notation: V(pin16,pin4), I(feed), R(pin6,pin14); docs/points.md. */
struct pin16_measurement {
  struct pin16_text point;
  struct pin16_text unit; /* V, A, ohm or empty */
  struct pin16_text condition;
  struct pin16_text instrument;
  double value;
  double uncertainty;   /* half width; below 0 not stated */
  double input_ohm;     /* of a voltmeter; below 0 not stated */
  int64_t aperture_ns;  /* integration time; below 0 not known */
  int64_t period_ns;    /* between samples of this instrument as it states it; below 0 not known */
  uint32_t power;       /* enum pin16_power_state */
  uint32_t reserved;
};
enum pin16_condition {
  PIN16_LINK_OPENING = 0, PIN16_LINK_UP = 1, PIN16_LINK_DOWN = 2, PIN16_LINK_MISSING = 3,
  PIN16_LINK_FORBIDDEN = 4, PIN16_LINK_GONE = 5, PIN16_LINK_FINISHED = 6, PIN16_LINK_FAILED = 7
};
enum pin16_silence { PIN16_SILENCE_CANNOT = 0, PIN16_SILENCE_CLAIMED = 1, PIN16_SILENCE_PROVEN = 2 };
struct pin16_link_state {
  struct pin16_text uri;
  struct pin16_text text;        /* what is the matter; empty when up */
  struct pin16_text controller;  /* error-active, error-warning, error-passive, bus-off, stopped, sleeping, unknown */
  struct pin16_text time_origin; /* hardware, kernel, user, adapter, simulated, file */
  int64_t time_error_ns;         /* below 0 not known */
  uint32_t condition;            /* enum pin16_condition */
  uint32_t bitrate;              /* bit/s; 0 not known */
  uint32_t data_bitrate;
  uint32_t silence;              /* enum pin16_silence: how silent we are on this bus */
  int32_t tx_errors;             /* below 0 not known */
  int32_t rx_errors;
  int32_t listen_only;           /* 1 yes, 0 no, below 0 not known */
  uint32_t reserved;
};
struct pin16_loss {
  uint64_t count; /* known to be missing before this event */
  uint32_t place; /* 0 kernel, 1 adapter, 2 queue */
  uint32_t reserved;
};
struct pin16_gap {
  int64_t from_ns, to_ns;
  struct pin16_text reason;
};
struct pin16_sent {
  struct pin16_bytes bytes; /* SocketCAN header and data, or serial bytes */
  struct pin16_text purpose;
};
struct pin16_power {
  struct pin16_text how; /* measured, declared, inferred */
  struct pin16_text text;
  uint32_t state; /* enum pin16_power_state */
  uint32_t reserved;
};
struct pin16_note {
  struct pin16_text text, by;
};
/* ISO 15765-2; the event's time is that of its last frame. */
struct pin16_message {
  uint32_t id;
  uint8_t extended, complete;
  uint16_t reserved;
  int64_t first_ns;
  struct pin16_bytes payload;
  struct pin16_text reason; /* why incomplete */
};
enum pin16_ended {
  PIN16_ANSWERED = 0, PIN16_NEGATIVE = 1, PIN16_INCOMPLETE = 2, PIN16_SILENT = 3, PIN16_LINK_LOST = 4,
  PIN16_NOT_SEEN = 5
};
/* One request and one module's answer; the event's time is that of its end. */
struct pin16_exchange {
  uint32_t request_id, answer_id; /* answer_id 0: not known */
  uint8_t extended, functional, ours, late;
  uint16_t pending; /* answers 7F xx 78 before the end */
  uint8_t ended;    /* enum pin16_ended */
  uint8_t reserved;
  double response_ms; /* end of request to start of the first answer frame; below 0 none */
  double complete_ms; /* end of request to the last answer frame; below 0 none */
  int64_t request_ns;
  struct pin16_bytes request, answer;
};

enum pin16_medium {
  PIN16_CAN = 0, PIN16_ISO9141_2 = 1, PIN16_ISO14230_4 = 2, PIN16_J1850_PWM = 3, PIN16_J1850_VPW = 4
};
/* Minor 1. `size` is that of the structure as the host knows it: look before using a member of a later minor. */
struct pin16_line_message {
  uint32_t size;
  uint32_t medium;               /* enum pin16_medium */
  struct pin16_bytes header;     /* as on the line; the check byte is in neither of the two and was right */
  struct pin16_message message;  /* id: the sender's address, 0 where the header has none; payload: service first */
};
struct pin16_line_exchange {
  uint32_t size;
  uint32_t medium;
  struct pin16_bytes request_header, answer_header;
  /* Identifiers are addresses of one byte, of the target asked and of the answer's sender; an answer of several
     messages is joined to what SAE J1979 defines for CAN. */
  struct pin16_exchange exchange;
};

/* ---- what a plugin says of itself */

enum pin16_setting_type { PIN16_NUMBER = 0, PIN16_SWITCH = 1, PIN16_TEXT = 2 };
struct pin16_setting {
  struct pin16_text name; /* lower case, digits and underscores; a number's name ends with its unit */
  struct pin16_text help;
  struct pin16_text unit;
  uint32_t type; /* enum pin16_setting_type */
  uint32_t reserved;
  double least, most;       /* of a number */
  double number;            /* default of a number; of a switch 0 or 1 */
  struct pin16_text text;   /* default of a text */
};
enum pin16_chart { PIN16_CHART_LINE = 0, PIN16_CHART_STEP = 1, PIN16_CHART_DOTS = 2, PIN16_CHART_BARS = 3 };
struct pin16_series {
  struct pin16_text name;
  struct pin16_text unit;
  struct pin16_text help;
  uint32_t chart; /* enum pin16_chart: a suggestion */
  uint32_t reserved;
  /* Names of limits (docs/limits.md) that belong into a chart of it; empty none. */
  struct pin16_text limit_low, limit_high;
};
struct pin16_counter {
  struct pin16_text name;
  struct pin16_text help;
};

/* ---- what a plugin gives */

/* A figure of a finding or a section's row, with the limit that it was held against. */
struct pin16_figure {
  struct pin16_text what;
  struct pin16_text unit;
  struct pin16_text limit_name; /* docs/limits.md; empty none */
  double value;                 /* NaN: text only */
  double uncertainty;           /* below 0 not stated */
  struct pin16_text text;       /* beside or instead of the value: "not measured", "bandwidth 10 Hz" */
};
enum pin16_weight {
  PIN16_FACT = 0,    /* an observation */
  PIN16_WARNING = 1, /* may lower a sound step to marginal */
  PIN16_AGAINST = 2  /* may lower a step to faulty: it speaks against an attempt now */
};
struct pin16_finding {
  struct pin16_text code; /* stable, lower case with hyphens: "supply-dip" */
  struct pin16_text text; /* a sentence a person can act on */
  struct pin16_text step; /* source, feed, ground, connector, interface, levels, traffic, answer, timing; or empty */
  const struct pin16_figure* figures;
  size_t figure_count;
  const uint64_t* events; /* sequence numbers of the events that it rests on */
  size_t event_count;
  double confidence; /* 0..1; 1 where it is arithmetic on what was seen */
  int64_t t_ns;      /* of what it speaks of */
  uint32_t weight;   /* enum pin16_weight */
  uint16_t link;     /* PIN16_NO_LINK: the whole run */
  uint16_t reserved;
};
/* A part of the report: a title and rows. */
struct pin16_section {
  struct pin16_text title;
  struct pin16_text text;
  const struct pin16_figure* rows;
  size_t row_count;
};
/* For the reasons: a value that a cause predicts, in the words of a reading. */
struct pin16_evidence {
  struct pin16_text point; /* "load.lone_sender", "V(pin16,pin4)" */
  struct pin16_text unit;
  double value;
  double uncertainty;
  int64_t t_ns;
};

/* ---- what the host gives */

struct pin16_limit {
  double value;
  struct pin16_text unit, source;
};
/* What the job knows; NaN or below 0 where it does not. */
struct pin16_job {
  struct pin16_text name;
  struct pin16_text arrangement; /* own-battery, fed-in-place, removed; empty: no job */
  struct pin16_text access;      /* connector, gateway, direct */
  struct pin16_text module;
  int64_t request_id, answer_id; /* below 0 not known */
  int32_t extended;
  int32_t sealed;
  double nominal_V;
  double supply_min_V, supply_max_V; /* of the module; NaN not known */
  double current_steady_min_A, current_steady_max_A;
  uint32_t bitrate; /* 0 not known */
  uint32_t power_up_budget; /* 0 none stated */
  int32_t line_address;     /* minor 1: of the module on K-line or J1850; below 0 not known */
  uint32_t reserved;
};
/* A request to a module; the gate decides. */
struct pin16_request {
  uint32_t request_id, answer_id; /* answer_id 0: as it follows from the request's */
  uint8_t extended;
  uint8_t reserved[7];
  struct pin16_bytes payload;
  uint64_t tag; /* comes back with answered() */
};

struct pin16_host {
  uint32_t size; /* of this structure as the host knows it: look before using a function of a later minor */
  uint32_t minor;
  void* context; /* first argument of every function */
  /* 1 and `out` filled; 0: no such limit. The texts stay valid as long as the plugin lives. */
  int (*limit)(void* context, struct pin16_text name, struct pin16_limit* out);
  /* Values of settings, the plugin's defaults where the job says nothing. 0: no such setting. */
  int (*number)(void* context, struct pin16_text name, double* out); /* also switches: 0 or 1 */
  int (*text)(void* context, struct pin16_text name, struct pin16_text* out);
  const struct pin16_job* (*job)(void* context);
  void (*sample)(void* context, uint32_t series, int64_t t_ns, double value, double uncertainty);
  void (*count)(void* context, uint32_t counter, uint64_t add);
  void (*finding)(void* context, const struct pin16_finding* finding);
  void (*section)(void* context, const struct pin16_section* section);
  void (*evidence)(void* context, const struct pin16_evidence* evidence);
  /* 1: asked, answered() follows; 0: not now and never in this run (a review, a sealed job); then no answered(). */
  int (*ask)(void* context, const struct pin16_request* request);
  /* The name that the standards give: `what` is service, response-code, identifier (ISO 14229-1). 0: none. */
  int (*name)(void* context, struct pin16_text what, uint32_t number, struct pin16_text* out);
  /* The vehicle identification number of an answer payload and whether its check digit holds:
     0 there is none, 1 holds, 2 does not hold (mandatory in North America only), 3 not of a form that has one. */
  int (*vin)(void* context, struct pin16_bytes request, struct pin16_bytes answer, struct pin16_text* out);
  /* The plugin gives up (an exception, say): it gets no further call but destroy(); what it gave stays. */
  void (*failed)(void* context, struct pin16_text why);
};

struct pin16_plugin {
  uint32_t size;  /* sizeof(struct pin16_plugin) */
  uint32_t minor; /* PIN16_PLUGIN_MINOR it was built against */
  struct pin16_text name; /* lower case, digits, hyphens: "bus-voltage" */
  struct pin16_text version;
  struct pin16_text summary; /* one line */
  uint64_t kinds;            /* which events it wants: PIN16_KIND_BIT() */
  uint32_t asks;             /* 1: it may want to ask a module something */
  uint32_t reserved;
  const struct pin16_setting* settings;
  size_t setting_count;
  const struct pin16_series* series;
  size_t series_count;
  const struct pin16_counter* counters;
  size_t counter_count;
  /* NULL: it cannot start. */
  void* (*create)(const struct pin16_host* host);
  void (*take)(void* self, const struct pin16_event* events, size_t count);
  /* `exchange` NULL: `refused` says why the gate did not let the request out. May be NULL if asks is 0. */
  void (*answered)(void* self, uint64_t tag, const struct pin16_exchange* exchange, struct pin16_text refused);
  void (*finish)(void* self, int64_t end_ns);
  void (*destroy)(void* self);
};

/* Numbers only, no pointer: readable without loading. */
struct pin16_card {
  uint32_t magic, major, minor, card_size;
  uint32_t plugin_size, host_size, event_size, frame_size, measurement_size, link_size, message_size, exchange_size;
  uint32_t finding_size, figure_size, setting_size, series_size;
};
#define PIN16_CARD_HERE                                                                                              \
  {                                                                                                                  \
    PIN16_CARD_MAGIC, PIN16_PLUGIN_MAJOR, PIN16_PLUGIN_MINOR, (uint32_t)sizeof(struct pin16_card),                   \
        (uint32_t)sizeof(struct pin16_plugin), (uint32_t)sizeof(struct pin16_host),                                  \
        (uint32_t)sizeof(struct pin16_event), (uint32_t)sizeof(struct pin16_frame),                                  \
        (uint32_t)sizeof(struct pin16_measurement), (uint32_t)sizeof(struct pin16_link_state),                       \
        (uint32_t)sizeof(struct pin16_message), (uint32_t)sizeof(struct pin16_exchange),                             \
        (uint32_t)sizeof(struct pin16_finding), (uint32_t)sizeof(struct pin16_figure),                               \
        (uint32_t)sizeof(struct pin16_setting), (uint32_t)sizeof(struct pin16_series)                                \
  }
#define PIN16_EXPORT __attribute__((visibility("default")))
extern PIN16_EXPORT const struct pin16_card pin16_plugin_card;
extern PIN16_EXPORT const struct pin16_plugin pin16_plugin_1;

#ifdef __cplusplus
}
#endif
#endif
