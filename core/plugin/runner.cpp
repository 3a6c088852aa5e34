// SPDX-License-Identifier: Apache-2.0
#include "core/plugin/runner.hpp"

#include "core/plugin/library.hpp"

namespace pin16::plugin {
namespace {

class Here : public Runner {
 public:
  Here(std::unique_ptr<Library> library, const pin16_plugin& plugin, Facts facts)
      : library_(std::move(library)), plugin_(plugin), facts_(std::move(facts)) {}

  [[nodiscard]] const Facts& facts() const override { return facts_; }
  void start(const Setup& setup) override {
    local_ = std::make_unique<Local>(plugin_, facts_, setup.limits, setup.job, setup.settings);
    local_->allowAsking(setup.asking);
    local_->start();
  }
  void take(const Chunk& chunk) override { local_->take(chunk.events(), chunk.kinds()); }
  [[nodiscard]] std::vector<Asked> takeAsked() override { return local_->takeAsked(); }
  void answered(std::uint64_t tag, const event::Exchange* exchange, const std::string& refused) override {
    if (exchange == nullptr) return local_->answered(tag, nullptr, refused);
    const pin16_exchange plain = body(*exchange);
    local_->answered(tag, &plain, {});
  }
  void finish(Ns end_ns) override { local_->finish(end_ns); }
  [[nodiscard]] Results takeResults() override { return local_->takeResults(); }
  [[nodiscard]] Results takeSoFar() override { return local_->takeResults(); }

 private:
  std::unique_ptr<Library> library_;  // null: linked in; outlives local_
  const pin16_plugin& plugin_;
  Facts facts_;
  std::unique_ptr<Local> local_;
};

}  // namespace

Result<std::unique_ptr<Runner>> runHere(const pin16_plugin& plugin) {
  auto facts = readFacts(plugin);
  if (!facts) return facts.error();
  return std::unique_ptr<Runner>(std::make_unique<Here>(nullptr, plugin, *std::move(facts)));
}

Result<std::unique_ptr<Runner>> runHere(const std::string& path) {
  auto library = Library::load(path);
  if (!library) return library.error();
  const pin16_plugin& plugin = (*library)->plugin();
  auto facts = readFacts(plugin);
  if (!facts) {
    Error e = facts.error();
    e.place = path;
    return e;
  }
  return std::unique_ptr<Runner>(std::make_unique<Here>(*std::move(library), plugin, *std::move(facts)));
}

}  // namespace pin16::plugin
