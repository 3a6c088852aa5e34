// SPDX-License-Identifier: Apache-2.0
#include "core/protocol/names.hpp"

#include <algorithm>
#include <span>

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
    // from memory of SAE J1979-DA: named, never decoded
    {0x0D, "engine serial number"},
    {0x0F, "exhaust regulation or type approval number"},
    {0x10, "protocol identification"},
    {0x12, "fuelled engine operation ignition cycle counter"},
    {0x13, "evaporative or aftertreatment family"},
};
constexpr Name kKwpServices[] = {
    {0x17, "ReadStatusOfDiagnosticTroubleCodes (KWP2000)"},
    {0x18, "ReadDiagnosticTroubleCodesByStatus (KWP2000)"},
    {0x1A, "ReadECUIdentification (KWP2000)"},
    {0x21, "ReadDataByLocalIdentifier (KWP2000)"},
    {0x30, "InputOutputControlByLocalIdentifier (KWP2000)"},
    {0x32, "StopRoutineByLocalIdentifier (KWP2000)"},
    {0x33, "RequestRoutineResultsByLocalIdentifier (KWP2000)"},
    {0x3B, "WriteDataByLocalIdentifier (KWP2000)"},
    {0x81, "StartCommunication (KWP2000)"},
    {0x82, "StopCommunication (KWP2000)"},
};
constexpr Name kReadDtcFunctions[] = {
    {0x01, "reportNumberOfDTCByStatusMask"},
    {0x02, "reportDTCByStatusMask"},
    {0x0A, "reportSupportedDTC"},
};
constexpr Name kSessions[] = {
    {0x01, "defaultSession"},
    {0x02, "programmingSession"},
    {0x03, "extendedDiagnosticSession"},
    {0x04, "safetySystemDiagnosticSession"},
};
constexpr Name kDtcFormats[] = {
    {0x00, "ISO 15031-6"},
    {0x01, "ISO 14229-1"},
    {0x02, "SAE J1939-73"},
    {0x03, "ISO 11992-4"},
};

std::string_view find(std::span<const Name> table, std::uint16_t code) {
  const auto it = std::find_if(table.begin(), table.end(), [&](const Name& n) { return n.code == code; });
  return it == table.end() ? std::string_view{} : it->name;
}

}  // namespace

std::string_view serviceName(std::uint8_t service) { return find(kServices, service); }
std::string_view kwpServiceName(std::uint8_t service) { return find(kKwpServices, service); }
std::string_view nrcName(std::uint8_t code) { return find(kNrcs, code); }
std::string_view didName(std::uint16_t identifier) { return find(kDids, identifier); }
std::string_view infotypeName(std::uint8_t infotype) { return find(kInfotypes, infotype); }
std::string_view readDtcName(std::uint8_t sub_function) { return find(kReadDtcFunctions, sub_function); }
std::string_view sessionName(std::uint8_t session) { return find(kSessions, session); }
std::string_view dtcFormatName(std::uint8_t format) { return find(kDtcFormats, format); }

std::string_view nrcRangeName(std::uint8_t code) {
  if (code >= 0x94 && code <= 0xEF) return "reservedForSpecificConditionsNotCorrect";
  if (code >= 0xF0 && code <= 0xFE) return "vehicleManufacturerSpecificConditionsNotCorrect";
  return "ISOSAEReserved";
}

}  // namespace pin16::protocol
