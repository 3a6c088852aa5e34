# SPDX-License-Identifier: Apache-2.0
# Read by ctest behind its lists of tests: which start first, so that no long one runs alone at the end, and which count
# for four, because they wait for milliseconds or compute all the time.
foreach(test IN LISTS test_bench_TESTS test_can_TESTS test_cli_TESTS test_conformance_TESTS test_link_TESTS
        test_reasons_TESTS test_supply_TESTS)
  if(test MATCHES "Hundred|Pairs/Swapped|OverJ1850|OverKLine|Media|Meters\\.Decide|WholeJob")
    set_tests_properties(${test} PROPERTIES COST 50)
  elseif(test MATCHES "^(cli|conformance)|KLine|ASession|AtLine|DipTiming|AtDips")
    set_tests_properties(${test} PROPERTIES COST 10)
  endif()
  if(test MATCHES "DipTiming|AtDips|KLine|OverKwp|Timing|Mutations|^reasons|^can\\.WireBits")
    set_tests_properties(${test} PROPERTIES PROCESSORS 4)
  endif()
endforeach()
