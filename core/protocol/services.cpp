// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/services.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <span>

#include "core/protocol/vin.hpp"

namespace pin16::protocol {
namespace {

struct Name {
  std::uint16_t code;
  std::string_view name;
};

constexpr Name kServices[] = {
    {0x01, "request current powertrain diagnostic data"},
    {0x02, "request powertrain freeze frame data"},
    {0x03, "request stored emission-related DTCs"},
    {0x04, "clear/reset emission-related diagnostic information"},
    {0x05, "oxygen sensor monitoring test results"},
    {0x06, "on-board monitoring test results"},
    {0x07, "pending DTCs (current or last driving cycle)"},
    {0x08, "control of on-board system, test or component"},
    {0x09, "vehicle information"},
    {0x0A, "permanent DTCs"},
    {0x10, "DiagnosticSessionControl"},
    {0x11, "ECUReset"},
    {0x14, "ClearDiagnosticInformation"},
    {0x19, "ReadDTCInformation"},
    {0x22, "ReadDataByIdentifier"},
    {0x23, "ReadMemoryByAddress"},
    {0x24, "ReadScalingDataByIdentifier"},
    {0x27, "SecurityAccess"},
    {0x28, "CommunicationControl"},
    {0x29, "Authentication"},
    {0x2A, "ReadDataByPeriodicIdentifier"},
    {0x2C, "DynamicallyDefineDataIdentifier"},
    {0x2E, "WriteDataByIdentifier"},
    {0x2F, "InputOutputControlByIdentifier"},
    {0x31, "RoutineControl"},
    {0x34, "RequestDownload"},
    {0x35, "RequestUpload"},
    {0x36, "TransferData"},
    {0x37, "RequestTransferExit"},
    {0x38, "RequestFileTransfer"},
    {0x3D, "WriteMemoryByAddress"},
    {0x3E, "TesterPresent"},
    {0x83, "AccessTimingParameter"},
    {0x84, "SecuredDataTransmission"},
    {0x85, "ControlDTCSetting"},
    {0x86, "ResponseOnEvent"},
    {0x87, "LinkControl"},
};
constexpr Name kNrcs[] = {
    {0x10, "generalReject"},
    {0x11, "serviceNotSupported"},
    {0x12, "subFunctionNotSupported"},
    {0x13, "incorrectMessageLengthOrInvalidFormat"},
    {0x14, "responseTooLong"},
    {0x21, "busyRepeatRequest"},
    {0x22, "conditionsNotCorrect"},
    {0x24, "requestSequenceError"},
    {0x25, "noResponseFromSubnetComponent"},
    {0x26, "failurePreventsExecutionOfRequestedAction"},
    {0x31, "requestOutOfRange"},
    {0x33, "securityAccessDenied"},
    {0x34, "authenticationRequired"},
    {0x35, "invalidKey"},
    {0x36, "exceedNumberOfAttempts"},
    {0x37, "requiredTimeDelayNotExpired"},
    {0x38, "secureDataTransmissionRequired"},
    {0x39, "secureDataTransmissionNotAllowed"},
    {0x3A, "secureDataVerificationFailed"},
    {0x50, "certificateVerificationFailed - invalid time period"},
    {0x51, "certificateVerificationFailed - invalid signature"},
    {0x52, "certificateVerificationFailed - invalid chain of trust"},
    {0x53, "certificateVerificationFailed - invalid type"},
    {0x54, "certificateVerificationFailed - invalid format"},
    {0x55, "certificateVerificationFailed - invalid content"},
    {0x56, "certificateVerificationFailed - invalid scope"},
    {0x57, "certificateVerificationFailed - invalid certificate (revoked)"},
    {0x58, "ownershipVerificationFailed"},
    {0x59, "challengeCalculationFailed"},
    {0x5A, "settingAccessRightsFailed"},
    {0x5B, "sessionKeyCreationOrDerivationFailed"},
    {0x5C, "configurationDataUsageFailed"},
    {0x5D, "deAuthenticationFailed"},
    {0x70, "uploadDownloadNotAccepted"},
    {0x71, "transferDataSuspended"},
    {0x72, "generalProgrammingFailure"},
    {0x73, "wrongBlockSequenceCounter"},
    {0x78, "requestCorrectlyReceived-ResponsePending"},
    {0x7E, "subFunctionNotSupportedInActiveSession"},
    {0x7F, "serviceNotSupportedInActiveSession"},
    {0x81, "rpmTooHigh"},
    {0x82, "rpmTooLow"},
    {0x83, "engineIsRunning"},
    {0x84, "engineIsNotRunning"},
    {0x85, "engineRunTimeTooLow"},
    {0x86, "temperatureTooHigh"},
    {0x87, "temperatureTooLow"},
    {0x88, "vehicleSpeedTooHigh"},
    {0x89, "vehicleSpeedTooLow"},
    {0x8A, "throttle/pedalTooHigh"},
    {0x8B, "throttle/pedalTooLow"},
    {0x8C, "transmissionRangeNotInNeutral"},
    {0x8D, "transmissionRangeNotInGear"},
    {0x8F, "brakeSwitch(es)NotClosed"},
    {0x90, "shifterLeverNotInPark"},
    {0x91, "torqueConverterClutchLocked"},
    {0x92, "voltageTooHigh"},
    {0x93, "voltageTooLow"},
    {0x94, "resourceTemporarilyNotAvailable"},
};
constexpr Name kDids[] = {
    {0xF180, "bootSoftwareIdentification"},
    {0xF181, "applicationSoftwareIdentification"},
    {0xF182, "applicationDataIdentification"},
    {0xF183, "bootSoftwareFingerprint"},
    {0xF184, "applicationSoftwareFingerprint"},
    {0xF185, "applicationDataFingerprint"},
    {0xF186, "activeDiagnosticSession"},
    {0xF187, "vehicleManufacturerSparePartNumber"},
    {0xF188, "vehicleManufacturerECUSoftwareNumber"},
    {0xF189, "vehicleManufacturerECUSoftwareVersionNumber"},
    {0xF18A, "systemSupplierIdentifier"},
    {0xF18B, "ECUManufacturingDate"},
    {0xF18C, "ECUSerialNumber"},
    {0xF18D, "supportedFunctionalUnits"},
    {0xF18E, "vehicleManufacturerKitAssemblyPartNumber"},
    {0xF18F, "regulationXSoftwareIdentificationNumbers (RxSWIN)"},
    {0xF190, "VIN"},
    {0xF191, "vehicleManufacturerECUHardwareNumber"},
    {0xF192, "systemSupplierECUHardwareNumber"},
    {0xF193, "systemSupplierECUHardwareVersionNumber"},
    {0xF194, "systemSupplierECUSoftwareNumber"},
    {0xF195, "systemSupplierECUSoftwareVersionNumber"},
    {0xF196, "exhaustRegulationOrTypeApprovalNumber"},
    {0xF197, "systemNameOrEngineType"},
    {0xF198, "repairShopCodeOrTesterSerialNumber"},
    {0xF199, "programmingDate"},
    {0xF19A, "calibrationRepairShopCodeOrCalibrationEquipmentSerialNumber"},
    {0xF19B, "calibrationDate"},
    {0xF19C, "calibrationEquipmentSoftwareNumber"},
    {0xF19D, "ECUInstallationDate"},
    {0xF19E, "ODXFile"},
    {0xF19F, "entity"},
};
constexpr Name kInfotypes[] = {
    {0x00, "supported infotypes 01-20"},
    {0x01, "VIN message count"},
    {0x02, "VIN"},
    {0x03, "calibration ID message count"},
    {0x04, "calibration ID"},
    {0x05, "CVN message count"},
    {0x06, "calibration verification number"},
    {0x07, "IPT message count"},
    {0x08, "in-use performance tracking, spark ignition"},
    {0x09, "ECU name message count"},
    {0x0A, "ECU name"},
    {0x0B, "in-use performance tracking, compression ignition"},
};
constexpr Name kReadDtcFunctions[] = {
    {0x01, "reportNumberOfDTCByStatusMask"},
    {0x02, "reportDTCByStatusMask"},
    {0x0A, "reportSupportedDTC"},
};

/// A PID that is decoded: value = raw * scale + offset, raw big-endian (unit empty: bit map of supported
/// PIDs).
struct Pid {
  std::uint8_t pid;
  std::size_t size;
  std::string_view name;
  double scale;
  double offset;
  std::string_view unit;
};
// scapy, Wireshark's packet-obd-ii.c and a public transcription of SAE J1979:2002 agree on each of these.
constexpr Pid kPids[] = {
    {0x00, 4, "supported PIDs", 1, 0, ""},       {0x05, 1, "engine coolant temperature", 1, -40, "degC"},
    {0x0C, 2, "engine speed", 0.25, 0, "1/min"}, {0x0D, 1, "vehicle speed", 1, 0, "km/h"},
    {0x20, 4, "supported PIDs", 1, 0, ""},       {0x42, 2, "control module voltage", 0.001, 0, "V"},
};

std::string_view find(std::span<const Name> table, std::uint16_t code) {
  const auto it = std::find_if(table.begin(), table.end(), [&](const Name& n) { return n.code == code; });
  return it == table.end() ? std::string_view{} : it->name;
}

std::uint16_t word(ByteView b, std::size_t at) { return static_cast<std::uint16_t>(b[at] << 8U | b[at + 1]); }

std::string named(std::string text, std::string_view name) {
  if (!name.empty()) text += fmt::format(" {}", name);
  return text;
}

/// Supported PIDs of a bit map: the top bit of the first byte stands for `base` + 1.
std::string supportedText(std::uint8_t base, ByteView map) {
  std::string out;
  for (std::size_t bit = 0; bit < map.size() * 8; ++bit)
    if ((map[bit / 8] >> (7U - bit % 8U) & 1U) != 0) out += fmt::format(" {:02X}", base + bit + 1);
  return out.empty() ? " none" : out;
}

std::string pidText(const Pid& p, ByteView data) {
  if (p.unit.empty()) return fmt::format("{}:{}", p.name, supportedText(p.pid, data));
  unsigned raw = 0;
  for (const std::uint8_t b : data) raw = raw << 8U | b;
  return fmt::format("{} {:.6g} {}", p.name, raw * p.scale + p.offset, p.unit);
}

/// Several PIDs may follow each other; one whose size is not known ends the walk.
std::string currentDataText(ByteView data) {
  std::string out;
  while (!data.empty()) {
    const auto* p =
        std::find_if(std::begin(kPids), std::end(kPids), [&](const Pid& k) { return k.pid == data[0]; });
    if (!out.empty()) out += ", ";
    if (p == std::end(kPids) || data.size() < p->size + 1) return out + "PID " + toHex(data, " ");
    out += pidText(*p, data.subspan(1, p->size));
    data = data.subspan(p->size + 1);
  }
  return out;
}

/// SAE J2012 / ISO 15031-6: two bits of letter, then 2 + 4 + 4 + 4 bits.
std::string dtcText(std::uint16_t code) {
  return fmt::format("{}{:04X}", "PCBU"[code >> 14U], code & 0x3FFFU);
}

/// On CAN a count byte comes before the codes.
std::string dtcListText(ByteView data) {
  if (data.empty() || data.size() != 1 + data[0] * std::size_t{2}) return toHex(data, " ");
  std::string out = fmt::format("{} trouble code{}", data[0], data[0] == 1 ? "" : "s");
  for (std::size_t at = 1; at < data.size(); at += 2) out += " " + dtcText(word(data, at));
  return out;
}

/// Printable text, trailing zeros cut; nothing if it is not that.
std::optional<std::string> asText(ByteView data) {
  while (!data.empty() && data.back() == 0) data = data.first(data.size() - 1);
  if (data.empty()) return std::nullopt;
  for (const std::uint8_t b : data)
    if (b < 0x20 || b > 0x7E) return std::nullopt;
  return std::string(data.begin(), data.end());
}

std::string textOrHex(ByteView data) {
  if (const auto text = asText(data)) return *text;
  return data.empty() ? "no data" : toHex(data, " ");
}

std::string vinText(const std::string& vin) { return fmt::format("VIN {} ({})", vin, vinRemark(vin)); }

std::string infoText(std::uint8_t infotype, ByteView data) {
  const std::string_view name = find(kInfotypes, infotype);
  if (infotype == 0x00 && data.size() >= 4)
    return fmt::format("supported infotypes:{}", supportedText(0, data.last(4)));
  // calibration identifications and names: a count, then characters
  if ((infotype == 0x04 || infotype == 0x0A) && data.size() > 1)
    return fmt::format("{} {}", name, textOrHex(data.subspan(1)));
  return named(fmt::format("infotype {:02X}", infotype), name) + " " + toHex(data, " ");
}

bool echoes(ByteView request, ByteView answer, std::size_t count) {
  return request.size() > count && answer.size() > count &&
         std::equal(request.begin() + 1, request.begin() + 1 + static_cast<std::ptrdiff_t>(count),
                    answer.begin() + 1);
}

std::string parameterText(ByteView r) {
  switch (r[0]) {
    case 0x01:
    case 0x02:
      return r.size() > 1 ? "PID " + toHex(r.subspan(1), " ") : "";
    case 0x09:
      return r.size() == 2 ? std::string(find(kInfotypes, r[1])) : "";
    case kReadData:
      return r.size() == 3 ? named(fmt::format("{:04X}", word(r, 1)), didName(word(r, 1))) : "";
    case kReadDtc:
      return r.size() > 1 ? std::string(find(kReadDtcFunctions, r[1])) : "";
    default:
      return "";
  }
}

Error usage(std::string what) {
  return {ErrorKind::usage, std::move(what), "",
          "write OBD as \"01 0C\" or \"09 02\"; UDS with the module's request identifier before it, as "
          "\"@7E0 22 F190\" or \"@18DA10F1 22 F190\""};
}

/// 3 hex digits: 11 bit; 8: 29 bit.
std::optional<Target> parseTarget(std::string_view digits) {
  const auto id = toUnsigned(digits, 16);
  const bool extended = digits.size() == 8;
  if (!id || digits.starts_with("0x") || digits.starts_with("0X")) return std::nullopt;
  if (!extended && digits.size() != 3) return std::nullopt;
  if (*id > (extended ? 0x1FFFFFFFU : 0x7FFU)) return std::nullopt;
  Target t;
  t.request_id = static_cast<std::uint32_t>(*id);
  t.extended = extended;
  t.functional = t.request_id == (extended ? kFunctional29 : kFunctional11);
  return t;
}

}  // namespace

std::string_view serviceName(std::uint8_t service) { return find(kServices, service); }
std::string_view nrcName(std::uint8_t code) { return find(kNrcs, code); }
std::string_view didName(std::uint16_t identifier) { return find(kDids, identifier); }

AnswerKind answerKind(ByteView request, ByteView answer) {
  if (request.empty() || answer.empty()) return AnswerKind::none;
  if (answer[0] == kNegativeResponse) {
    if (answer.size() < 3 || answer[1] != request[0]) return AnswerKind::none;
    return answer[2] == kResponsePending ? AnswerKind::pending : AnswerKind::negative;
  }
  if (answer[0] != request[0] + kPositiveOffset) return AnswerKind::none;
  bool fits = true;
  switch (request[0]) {
    case 0x01: {  // any of the PIDs asked for may come first: unsupported ones are left out
      const ByteView pids = request.subspan(1);
      fits = answer.size() > 1 && std::find(pids.begin(), pids.end(), answer[1]) != pids.end();
      break;
    }
    case 0x02: {
      fits = false;
      for (std::size_t at = 1; at + 1 < request.size() && answer.size() > 1; at += 2)
        fits = fits || request[at] == answer[1];
      break;
    }
    case 0x06:
    case 0x09:
    case kReadDtc:
      fits = echoes(request, answer, 1);
      break;
    case kReadData:
      fits = echoes(request, answer, 2);
      break;
    default:
      break;
  }
  return fits ? AnswerKind::positive : AnswerKind::none;
}

std::string describeRequest(ByteView request) {
  if (request.empty()) return "nothing";
  std::string out = toHex(request, " ");
  if (const auto name = serviceName(request[0]); !name.empty()) out += fmt::format(": {}", name);
  if (const auto parameter = parameterText(request); !parameter.empty()) out += ", " + parameter;
  return out;
}

std::optional<std::string> vinOf(ByteView request, ByteView answer) {
  if (answerKind(request, answer) != AnswerKind::positive) return std::nullopt;
  const bool by_did = request[0] == kReadData && word(request, 1) == kDidVin;
  const bool by_infotype = request[0] == 0x09 && request[1] == 0x02;
  // 62 F1 90 and 49 02 01 (count of items) are both three bytes
  if ((!by_did && !by_infotype) || answer.size() != 3 + kVinLength) return std::nullopt;
  return asText(answer.subspan(3));
}

std::string describeAnswer(ByteView request, ByteView answer) {
  switch (answerKind(request, answer)) {
    case AnswerKind::none:
      return "not an answer to this request: " + toHex(answer, " ");
    case AnswerKind::pending:
    case AnswerKind::negative:
      return named(fmt::format("negative {:02X}", answer[2]), nrcName(answer[2]));
    case AnswerKind::positive:
      break;
  }
  if (const auto vin = vinOf(request, answer)) return vinText(*vin);
  switch (request[0]) {
    case 0x01:
      return currentDataText(answer.subspan(1));
    case 0x03:
    case 0x07:
    case 0x0A:
      return dtcListText(answer.subspan(1));
    case 0x09:
      return infoText(answer[1], answer.subspan(2));
    case kReadData:
      return named(fmt::format("{:04X}", word(answer, 1)), didName(word(answer, 1))) + ": " +
             textOrHex(answer.subspan(3));
    default:
      return toHex(answer, " ");
  }
}

Result<AddressedRequest> parseRequestText(std::string_view text) {
  AddressedRequest out;
  bool addressed = false;
  const auto start = text.find_first_not_of(' ');
  text.remove_prefix(start == std::string_view::npos ? text.size() : start);
  if (text.starts_with('@')) {
    const auto blank = std::min(text.find(' '), text.size());
    const auto target = parseTarget(text.substr(1, blank - 1));
    if (!target)
      return usage(fmt::format("'{}' is no identifier: 3 hex digits (000-7FF) or 8 (00000000-1FFFFFFF)",
                               text.substr(0, blank)));
    out.target = *target;
    addressed = true;
    text.remove_prefix(blank);
  } else {
    out.target = functionalTarget();
  }
  const auto pdu = fromHex(text);
  if (!pdu) return usage(fmt::format("'{}' is not a request in hex bytes", text));
  if (pdu->empty()) return usage("a request needs at least its service byte");
  if (!addressed && !isObd(pdu->front()))
    return usage(fmt::format("service {:02X} needs the identifier of the module it goes to", pdu->front()));
  out.pdu = *pdu;
  return out;
}

}  // namespace pin16::protocol
