// SPDX-License-Identifier: Apache-2.0
// No allocation after build: every malloc of this program is counted (operator new comes to it too, and so
// does Eigen).
#include <gtest/gtest.h>

#include <atomic>
#include <cstdlib>

#include "tests/circuit/bench.hpp"

namespace {
std::atomic<long> allocations{0};
}

#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
extern "C" int __sanitizer_install_malloc_and_free_hooks(void (*)(const volatile void*, std::size_t),
                                                         void (*)(const volatile void*));
namespace {
[[maybe_unused]] const int hooked = __sanitizer_install_malloc_and_free_hooks(
    [](const volatile void*, std::size_t) { ++allocations; }, [](const volatile void*) {});
}
#else
extern "C" {
void* __libc_malloc(std::size_t size);
void* malloc(std::size_t size) noexcept {  // NOLINT
  ++allocations;
  return __libc_malloc(size);
}
}
#endif

namespace pin16::circuit {
namespace {

TEST(Allocation, IsCounted) {
  const long before = allocations;
  delete new int(1);  // NOLINT
  std::vector<double> v(1000);
  EXPECT_GE(allocations - before, 1);
}

TEST(Allocation, DoesNotHappenOnceTheWorkspaceIsMade) {
  Netlist n;
  n.battery("B", "n0", "0", {});
  n.fuse("F", "n0", "n1", 10);
  for (int i = 1; i < 40; ++i) {
    n.resistor("R" + std::to_string(i), "n" + std::to_string(i), "n" + std::to_string(i + 1), 0.02);
    n.resistor("G" + std::to_string(i), "n" + std::to_string(i), "0", 1e4);
  }
  n.module("M1", "n20", "0", {});
  n.module("M2", "n40", "0", {.boot_A = 2, .start_V = 9, .stop_V = 8});
  n.diode("D", "n10", "x");
  n.supply("S", "x", "0", {});
  n.transceiver("T", "high", "low", "0");
  n.watch("W", "n40", "0", 9);
  Bench b(n);
  State state = b.state;
  bool ok = true;
  const long before = allocations;
  for (const Start start : {Start::cold, Start::running, Start::state}) {
    const auto outcome = b.circuit.operate(b.params, start, state, b.workspace);
    ok = ok && outcome;
  }
  ok = ok && b.circuit.analyse(b.params, b.workspace);
  state = b.state;
  for (int i = 0; i < 200; ++i) {
    b.params[0] = 12.65 + 1e-3 * i;
    ok = ok && b.circuit.step(b.params, 1e-3, state, b.workspace);
  }
  const long after = allocations;
  EXPECT_TRUE(ok);
  EXPECT_EQ(after - before, 0);
  EXPECT_GT(state.t_s, 0.19);
}

}  // namespace
}  // namespace pin16::circuit
