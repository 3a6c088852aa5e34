// SPDX-License-Identifier: Apache-2.0
// Asio compiled once for the whole program (BOOST_ASIO_SEPARATE_COMPILATION): it is the dearest header here.
#include <boost/asio/impl/src.hpp>
