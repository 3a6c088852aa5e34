// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What goes over the recorder's Unix socket: u32 length (little-endian, of what follows), u8 type, payload.
/// Recorder to client: batches and replies; client to recorder: commands. Payloads by base/pack.hpp.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/base/pack.hpp"
#include "core/base/result.hpp"
#include "core/event/batch.hpp"

namespace pin16::recorder {

enum class MessageType : std::uint8_t { batch = 1, reply = 2, command = 3 };

/// A batch is at most kBatchEvents events of at most a few kB; anything larger is not ours.
inline constexpr std::uint32_t kMessageMax = 16U << 20U;
inline constexpr std::size_t kMessageHeader = 5;

enum class Action : std::uint8_t {
  hello = 0,    ///< text = the client's name, owner
  ask = 1,      ///< link, request_id, answer_id, extended, functional, line, bytes
  note = 2,     ///< text, by
  reading = 3,  ///< packed = event::Measurement
  power = 4,    ///< packed = event::Power (declared)
  verdict = 5,  ///< packed = event::Verdict
  shut = 6,     ///< text = why the gate stays shut from now on
  finish = 7,   ///< end the recording; the reply comes when the file is complete
  status = 8,
  attempt = 9,     ///< packed = event::Attempt: one of the other equipment begins or ends
  clearance = 10,  ///< packed = event::Clearance
  vouch = 11,      ///< link, by: protocol::Gate::vouchRate()
};

struct Command {
  std::uint32_t id = 0;  ///< echoed in the reply
  Action action = Action::status;
  std::string text;
  std::string by;
  Bytes packed;
  std::uint16_t link = 0;
  std::uint32_t request_id = 0;
  std::uint32_t answer_id = 0;  ///< 0 = not known
  bool extended = false;
  bool functional = false;
  Ns wait_ns = 0;      ///< as in protocol::Ask
  Ns spacing_ns = 0;   ///< as in protocol::Ask
  bool owner = false;  ///< hello: this client started the recorder
  bool line = false;   ///< as in protocol::Target
  template <class A>
  void fields(A& a) {
    a(id), a(action), a(text), a(by), a(packed), a(link), a(request_id), a(answer_id), a(extended),
        a(functional);
    a(wait_ns), a(spacing_ns), a(owner), a(line);
  }
};

struct Reply {
  std::uint32_t id = 0;
  bool ok = true;
  ErrorKind error_kind = ErrorKind::internal;
  std::string what, place, advice;         ///< of the error
  std::vector<event::Exchange> exchanges;  ///< of an ask
  std::string file;                        ///< the capture
  std::uint64_t events = 0;                ///< recorded so far
  std::uint64_t bytes = 0;
  std::uint64_t sent = 0;  ///< frames handed to links
  std::string note;        ///< for people: suspend inhibited, free disk
  bool confirmed = false;  ///< of an ask: our frame was seen on the bus
  template <class A>
  void fields(A& a) {
    a(id), a(ok), a(error_kind), a(what), a(place), a(advice), a(exchanges), a(file), a(events), a(bytes),
        a(sent);
    a(note), a(confirmed);
  }
  [[nodiscard]] static Reply failure(std::uint32_t id, const Error& e) {
    Reply r;
    r.id = id;
    r.ok = false;
    r.error_kind = e.kind;
    r.what = e.what;
    r.place = e.place;
    r.advice = e.advice;
    return r;
  }
  [[nodiscard]] Error error() const { return {error_kind, what, place, advice}; }
};

/// How a recorder process is started; packed on its standard input.
struct Config {
  std::vector<std::string> uris;
  std::string file;         ///< capture to write
  std::string socket;       ///< path of the Unix socket
  std::string command;      ///< the command line that wants it, for the record
  std::string shut_reason;  ///< not empty: the gate never opens in this run
  bool sealed = false;
  bool rate_fixed = false;
  bool outlive_owner = false;           ///< goes on recording when its first client dies
  Ns for_ns = 0;                        ///< ends by itself after this; 0 = no
  std::uint32_t module_request_id = 0;  ///< of the job's module; 0 = unknown
  bool search = false;                  ///< links may search for their protocol: they send
  std::uint32_t module_answer_id = 0;
  bool module_extended = false;
  /// Least grade that a link must have to be opened; `cannot`: any.
  event::Silence silence = event::Silence::cannot;
  /// Packed event::Attempt that begins before the links are opened; empty: none.
  Bytes attempt;
  Bytes digest_key;       ///< of the job; empty: one is made for this run and forgotten with it
  std::string authority;  ///< not empty: content is kept during attempts, and by whose authority
  template <class A>
  void fields(A& a) {
    a(uris), a(file), a(socket), a(command), a(shut_reason), a(sealed), a(rate_fixed), a(outlive_owner),
        a(for_ns);
    a(module_request_id), a(search), a(module_answer_id), a(module_extended), a(silence), a(attempt),
        a(digest_key), a(authority);
  }
};

[[nodiscard]] Bytes encode(MessageType type, ByteView payload);
[[nodiscard]] Bytes encodeBatch(const event::Batch& batch);
/// False if the payload is not a batch (wrong counts, offsets beyond the arena).
[[nodiscard]] bool decodeBatch(ByteView payload, event::Batch& batch);

/// Cuts messages out of a byte stream.
class Splitter {
 public:
  /// Room for at least `n` more bytes; call filled() with how many were read into it.
  std::uint8_t* room(std::size_t n);
  void filled(std::size_t n) { end_ += n; }
  struct Piece {
    MessageType type;
    ByteView payload;  ///< valid until the next call
  };
  /// The next whole message; nothing if more bytes are needed or the stream is broken (see broken()).
  [[nodiscard]] std::optional<Piece> next();
  [[nodiscard]] bool broken() const { return broken_; }

 private:
  Bytes buffer_;
  std::size_t begin_ = 0, end_ = 0;
  bool broken_ = false;
};

}  // namespace pin16::recorder
