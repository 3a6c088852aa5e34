#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# circuit_speed.sh BUILD_DIR: the operating point against one Eigen factor and solve, a ratio in one run.
set -eu
cmake --build "${1:?usage: circuit_speed.sh BUILD_DIR}" --target circuit_bench >/dev/null
exec "$1/tests/circuit_bench"
