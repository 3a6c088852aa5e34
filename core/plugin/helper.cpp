// SPDX-License-Identifier: Apache-2.0
// The helper process of one foreign plugin: gives up its powers, loads the library, answers each message.
#include <unistd.h>

#include <csignal>

#include "core/base/pack.hpp"
#include "core/plugin/apart.hpp"
#include "core/plugin/library.hpp"
#include "core/plugin/runner.hpp"
#include "core/plugin/sandbox.hpp"

namespace pin16::plugin {
namespace {

class Helper {
 public:
  explicit Helper(int socket) : socket_(socket) {}

  void run() {
    MessageKind kind{};
    Bytes payload;
    while (receiveMessage(socket_, kNoTime, kind, payload) == Got::message) {
      Reply reply;
      if (!handle(kind, payload, reply)) return;
      if (local_ != nullptr) {
        reply.results = local_->takeResults();
        reply.asked = local_->takeAsked();
      }
      if (!sendMessage(socket_, MessageKind::reply, pack(reply))) return;
    }
  }

 private:
  bool handle(MessageKind kind, ByteView payload, Reply& reply) {
    switch (kind) {
      case MessageKind::load:
        return load(payload, reply);
      case MessageKind::setup:
        return setup(payload);
      case MessageKind::events: {
        chunk_.clear();
        if (local_ == nullptr || !chunk_.unpack(payload)) return false;
        local_->take(chunk_.events(), chunk_.kinds());
        return true;
      }
      case MessageKind::answered: {
        PackedAnswer a;
        if (local_ == nullptr || !unpack(payload, a)) return false;
        const pin16_exchange plain = body(a.exchange);
        local_->answered(a.tag, a.has_exchange ? &plain : nullptr, a.refused);
        return true;
      }
      case MessageKind::finish: {
        PackedFinish f;
        if (local_ == nullptr || !unpack(payload, f)) return false;
        local_->finish(f.end_ns);
        return true;
      }
      case MessageKind::reply:
        break;
    }
    return false;
  }

  bool load(ByteView payload, Reply& reply) {
    LoadRequest request;
    if (library_ != nullptr || !unpack(payload, request)) return false;
    const auto failed = [&](const Error& e) {
      reply.error = e.what;
      return true;
    };
    if (Status given = giveUpPowers(socket_); !given) return failed(given.error());
    auto library = Library::load(request.path);
    if (!library) return failed(library.error());
    library_ = *std::move(library);
    auto facts = readFacts(library_->plugin());
    if (!facts) return failed(facts.error());
    reply.results.facts = *facts;
    facts_ = *std::move(facts);
    return true;
  }

  bool setup(ByteView payload) {
    PackedSetup p;
    if (library_ == nullptr || local_ != nullptr || !unpack(payload, p)) return false;
    limits::Limits limits;
    for (PackedLimit& l : p.limits) (void)limits.replace(l.name, l.value, std::move(l.source));
    Settings settings;
    for (PackedSetting& s : p.settings) {
      if (s.type == 0) settings[s.name] = s.number;
      if (s.type == 1) settings[s.name] = s.number != 0;
      if (s.type == 2) settings[s.name] = std::move(s.text);
    }
    local_ = std::make_unique<Local>(library_->plugin(), facts_, std::move(limits), std::move(p.job),
                                     std::move(settings));
    local_->allowAsking(p.asking);
    local_->start();
    return true;
  }

  int socket_;
  std::unique_ptr<Library> library_;
  Facts facts_;
  std::unique_ptr<Local> local_;
  Chunk chunk_;
};

}  // namespace

int helperMain(int socket) {
  signal(SIGPIPE, SIG_IGN);
  {
    Helper helper(socket);
    helper.run();
  }
  // Not exit(): the library's static destructors and a sanitizer's last words want powers that are given up.
  _exit(0);
}

}  // namespace pin16::plugin
