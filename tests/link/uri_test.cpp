// SPDX-License-Identifier: Apache-2.0
#include <gtest/gtest.h>

#include "tests/link/link_double.hpp"

namespace pin16::link {
namespace {

TEST(UriTest, SchemeTargetAndOptionsAreParted) {
  const auto uri = parseUri("socketcan:can0?buffer=4096&x=");
  ASSERT_TRUE(uri);
  EXPECT_EQ(uri->scheme, "socketcan");
  EXPECT_EQ(uri->target, "can0");
  EXPECT_EQ(uri->option("buffer"), "4096");
  EXPECT_EQ(uri->options.size(), 2U);
  EXPECT_EQ(uri->text, "socketcan:can0?buffer=4096&x=");
}

TEST(UriTest, TargetMayHoldColonsAndSlashes) {
  const auto uri = parseUri("replay:/tmp/a:b.pcapng");
  ASSERT_TRUE(uri);
  EXPECT_EQ(uri->target, "/tmp/a:b.pcapng");
}

TEST(UriTest, WhatIsNoUriIsAUsageErrorThatNamesTheSchemes) {
  for (const char* text :
       {"can0", "", ":can0", "socketcan:", "socketcan:?buffer=1", "socketcan:can0?buffer"}) {
    const auto uri = parseUri(text);
    ASSERT_FALSE(uri) << text;
    EXPECT_EQ(uri.error().kind, ErrorKind::usage) << text;
    EXPECT_NE(uri.error().text().find("socketcan:"), std::string::npos) << uri.error().text();
  }
}

class SchemeTest : public testing::Test {
 protected:
  Result<std::unique_ptr<Link>> make(const char* text) {
    const auto uri = parseUri(text);
    if (!uri) return uri.error();
    return makeLink(*uri, {io_, host_, 0});
  }
  ErrorKind kindOf(const char* text) {
    const auto link = make(text);
    return link ? ErrorKind::internal : link.error().kind;
  }
  boost::asio::io_context io_;
  KeepingHost host_;
};

TEST_F(SchemeTest, UnknownSchemeIsAUsageError) { EXPECT_EQ(kindOf("nonsense:x"), ErrorKind::usage); }

TEST_F(SchemeTest, MisspeltOptionIsAUsageError) {
  EXPECT_EQ(kindOf("socketcan:can0?bufer=4096"), ErrorKind::usage);
  EXPECT_EQ(kindOf("socketcan:can0?bitrate=500000"), ErrorKind::usage);  // Pin16 never sets a rate
}

TEST_F(SchemeTest, BufferMustBeANumberOfBytes) {
  EXPECT_EQ(kindOf("socketcan:can0?buffer=big"), ErrorKind::usage);
  EXPECT_EQ(kindOf("socketcan:can0?buffer=0"), ErrorKind::usage);
  EXPECT_EQ(kindOf("socketcan:can0?buffer=99999999999"), ErrorKind::usage);
  EXPECT_TRUE(make("socketcan:can0?buffer=1"));
}

TEST_F(SchemeTest, SchemeIsReplacedNotDoubled) {
  addBuiltInSchemes();
  const std::size_t before = schemes().size();
  addBuiltInSchemes();
  addScheme(Scheme{"test-only", "", {}});
  addScheme(Scheme{"test-only", "", {}});
  EXPECT_EQ(schemes().size(), before + 1);
}

}  // namespace
}  // namespace pin16::link
