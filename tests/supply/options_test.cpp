// SPDX-License-Identifier: Apache-2.0
// What the URI of a meter says, and the job file's entry as a URI.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/asio/io_context.hpp>

#include "core/job/job.hpp"
#include "core/supply/supply.hpp"
#include "tests/link/link_double.hpp"

namespace pin16::supply {
namespace {

using testing::HasSubstr;

/// The error's text, or the empty text if the link could be made.
std::string fault(const std::string& text) {
  addMeterSchemes("/nonexistent");
  const auto uri = link::parseUri(text);
  if (!uri) return uri.error().text();
  boost::asio::io_context io;
  link::KeepingHost host;
  const auto made = link::makeLink(*uri, {io, host, 0});
  if (!made) {
    EXPECT_EQ(made.error().kind, ErrorKind::usage) << text;
    return made.error().text();
  }
  EXPECT_TRUE((*made)->state().meter) << text;
  EXPECT_TRUE(link::isMeter(text));
  return {};
}

TEST(MeterUri, TakesPointsWithoutAnyEncoding) {
  for (const char* good :
       {"scpi:/dev/ttyUSB2?V=V(pin16,pin4)&I=I(feed)", "scpi:/dev/ttyUSB2?baud=9600&channel=2&V=V(src+,src-)",
        "scpi:/dev/ttyUSB2?V=v( pin4 , pin16 "
        ")&u_V=0.02&input_ohm=10e6&every_ms=10&aperture_ms=20&wait_ms=200&end=crlf",
        "scpi:/dev/ttyUSB2?I=I(feed)&ask=read", "scpi-tcp:192.168.1.20?V=V(src+,src-)",
        "scpi-tcp:localhost:5025?V=V(src+,src-)", "scpi-tcp:[::1]:5025?V=V(src+,src-)",
        "scpi-tcp:[::1]?V=V(src+,src-)", "hwmon:ina/in1?V=V(pin16,pin4)&times=11",
        "hwmon:hwmon3/curr1?I=I(feed)", "iio:iio:device0/voltage0?V=V(pin16,pin4)",
        "iio:adc/voltage12?V=V(pin16,pin4)"})
    EXPECT_EQ(fault(good), "") << good;
}

TEST(MeterUri, SaysWhatIsWrong) {
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2"), HasSubstr("clipped on"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&bude=9600"), HasSubstr("unknown option \"bude\""));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin99)"), HasSubstr("not a known point"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=I(feed)"), HasSubstr("no point that is measured in V"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=lamp"), HasSubstr("no point that is measured in V"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=R(pin6,pin14)"), HasSubstr("no point that is measured in V"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&u_V=-1"), HasSubstr("u_V=-1"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&every_ms=0"), HasSubstr("every_ms=0"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&every_ms=nan"), HasSubstr("every_ms=nan"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&channel=1.5"), HasSubstr("whole number"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&channel=100"), HasSubstr("channel=100"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&I=I(feed)&ask=read"), HasSubstr("one quantity"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&ask=set"), HasSubstr("ask=set"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&end=nul"), HasSubstr("end=nul"));
  EXPECT_THAT(fault("scpi:/dev/ttyUSB2?V=V(pin16,pin4)&baud=fast"), HasSubstr("baud=fast"));
  EXPECT_THAT(fault("scpi-tcp::5025?V=V(pin16,pin4)"), HasSubstr("HOST"));
  EXPECT_THAT(fault("scpi-tcp:host:70000?V=V(pin16,pin4)"), HasSubstr("65535"));
  EXPECT_THAT(fault("scpi-tcp:[::1?V=V(pin16,pin4)"), HasSubstr("bracket"));
  EXPECT_THAT(fault("hwmon:ina?V=V(pin16,pin4)"), HasSubstr("hwmon:CHIP/in1"));
  EXPECT_THAT(fault("hwmon:ina/temp1?V=V(pin16,pin4)"), HasSubstr("neither a voltage nor a current"));
  EXPECT_THAT(fault("hwmon:ina/../../etc?V=V(pin16,pin4)"), HasSubstr("hwmon:CHIP/in1"));
  EXPECT_THAT(fault("iio:adc/voltage?V=V(pin16,pin4)"), HasSubstr("neither a voltage nor a current"));
  EXPECT_THAT(fault("hwmon:ina/in1?V=V(pin16,pin4)&I=I(feed)"), HasSubstr("one input is one quantity"));
  EXPECT_THAT(fault("hwmon:ina/in1?V=V(pin16,pin4)&times=0"), HasSubstr("times=0"));
}

// Deployment circuits and a module's own terminals: the same rule as for typed readings (core/job).
TEST(MeterUri, RefusesPointsThatAreNeverMeasured) {
  for (const char* point : {"V(squib1,chassis)", "V(module+,module-)", "V(airbag,src-)", "V(loop1,loop2)",
                            "V(modpin3,chassis)"}) {
    EXPECT_THAT(fault(std::string("scpi:/dev/ttyUSB2?V=") + point), HasSubstr("never measured")) << point;
    EXPECT_THAT(fault(std::string("hwmon:ina/in1?V=") + point), HasSubstr("never measured")) << point;
    const auto job =
        job::parseJob("[job]\narrangement = \"removed\"\n[[meter]]\nuri = \"scpi:/dev/ttyUSB0\"\nvolts = \"" +
                          std::string(point) + "\"\n",
                      "j.toml");
    ASSERT_FALSE(job) << point;
    EXPECT_EQ(job.error().place, "j.toml:5: meter.volts");
    EXPECT_THAT(job.error().text(), HasSubstr("never measured"));
  }
}

TEST(MeterJob, IsAUriThatTheLinkTakes) {
  const auto job = job::parseJob(R"toml([job]
arrangement = "removed"
[[meter]]
uri = "scpi:/dev/ttyUSB2?baud=9600"
volts = "V(pin16,pin4)"
amperes = "I(feed)"
uncertainty_V = 0.02
uncertainty_A = 0.005
input_ohm = 10e6
[[meter]]
uri = "hwmon:ina/in1?V=V(src+,src-)"
)toml",
                                 "j.toml");
  ASSERT_TRUE(job) << job.error().text();
  ASSERT_EQ(job->meters.size(), 2U);
  EXPECT_EQ(job::meterUri(job->meters[0]),
            "scpi:/dev/ttyUSB2?baud=9600&V=V(pin16,pin4)&I=I(feed)&u_V=0.02&u_A=0.005&input_ohm=10000000");
  for (const auto& m : job->meters) EXPECT_EQ(fault(job::meterUri(m)), "");
  EXPECT_TRUE(job->links.empty());
}

TEST(MeterJob, SaysWhatIsWrong) {
  const auto wrong = [](const std::string& entry) {
    const auto job = job::parseJob("[job]\narrangement = \"removed\"\n[[meter]]\n" + entry, "j.toml");
    return job ? std::string() : job.error().text();
  };
  EXPECT_THAT(wrong("volts = \"V(pin16,pin4)\"\n"), HasSubstr("has no uri"));
  EXPECT_THAT(wrong("uri = \"scpi:/dev/x\"\n"), HasSubstr("clipped on"));
  EXPECT_THAT(wrong("uri = \"scpi:/dev/x?u_V=1\"\n"), HasSubstr("clipped on"));
  EXPECT_THAT(wrong("uri = \"/dev/x\"\nvolts = \"V(pin16,pin4)\"\n"), HasSubstr("SCHEME:TARGET"));
  EXPECT_THAT(wrong("uri = \"scpi:/dev/x\"\nvolts = \"I(feed)\"\n"), HasSubstr("not measured in V"));
  EXPECT_THAT(wrong("uri = \"scpi:/dev/x\"\nvolts = \"V(pin16,pin4)\"\nuncertainty_V = -1\n"),
              HasSubstr("uncertainty_V"));
  EXPECT_THAT(wrong("uri = \"scpi:/dev/x?V=V(pin16,pin4)\"\namperes = \"I(feed)\"\n"), HasSubstr("Keep one"));
  EXPECT_THAT(wrong("uri = \"scpi:/dev/x\"\nvolt = \"V(pin16,pin4)\"\n"), HasSubstr("Did you mean"));
}

}  // namespace
}  // namespace pin16::supply
