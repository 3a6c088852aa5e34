# SPDX-License-Identifier: Apache-2.0
# What an author outside this tree needs: the header, its dress for C++, and a package that find_package finds.
include(CMakePackageConfigHelpers)
install(DIRECTORY ${CMAKE_CURRENT_LIST_DIR}/include/pin16 DESTINATION ${CMAKE_INSTALL_INCLUDEDIR} COMPONENT plugin-development)
add_library(pin16_plugin_interface INTERFACE)
target_include_directories(pin16_plugin_interface INTERFACE $<INSTALL_INTERFACE:${CMAKE_INSTALL_INCLUDEDIR}>)
set_target_properties(pin16_plugin_interface PROPERTIES EXPORT_NAME plugin)
install(TARGETS pin16_plugin_interface EXPORT pin16-plugin-targets COMPONENT plugin-development)
install(EXPORT pin16-plugin-targets FILE pin16-plugin-targets.cmake NAMESPACE pin16::
        DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/pin16-plugin COMPONENT plugin-development)
file(WRITE ${CMAKE_BINARY_DIR}/pin16-plugin-config.cmake
     "include(\"\${CMAKE_CURRENT_LIST_DIR}/pin16-plugin-targets.cmake\")\n")
write_basic_package_version_file(${CMAKE_BINARY_DIR}/pin16-plugin-config-version.cmake
                                 VERSION 1.0.0 COMPATIBILITY SameMajorVersion ARCH_INDEPENDENT)
install(FILES ${CMAKE_BINARY_DIR}/pin16-plugin-config.cmake ${CMAKE_BINARY_DIR}/pin16-plugin-config-version.cmake
        DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/pin16-plugin COMPONENT plugin-development)
