/* The structures, sizes and codes of Windows that the collectors use, as its
   headers have them (mingw-w64, Debian's mingw-w64-common). It is compiled, never
   run: TestAgainstWindowsHeaders reads the variables out of the object file. */
#include <windows.h>
#include <powrprof.h>
#include <cfgmgr32.h>
#include <realtimeapiset.h>
#include <ntddvdeo.h>
#include <wlanapi.h>
#include <initguid.h> /* from here on a GUID is a variable */
#include <poclass.h>
#include <bthdef.h>

/* The calls as the collectors and the agent make them: with another signature this
   does not compile. */
WINBOOL (WINAPI *power_status)(LPSYSTEM_POWER_STATUS) = GetSystemPowerStatus;
NTSTATUS (WINAPI *power_information)(POWER_INFORMATION_LEVEL, PVOID, ULONG, PVOID, ULONG) = CallNtPowerInformation;
CONFIGRET (WINAPI *interface_list)(LPGUID, DEVINSTID_W, PWCHAR, ULONG, ULONG) = CM_Get_Device_Interface_ListW;
WINBOOL (WINAPI *unbiased_time)(PULONGLONG) = QueryUnbiasedInterruptTime;
WINBOOL (WINAPI *display_settings)(LPCWSTR, DWORD, LPDEVMODEW) = EnumDisplaySettingsW;
DWORD (WINAPI *active_scheme)(HKEY, GUID **) = PowerGetActiveScheme;
DWORD (WINAPI *wlan_open)(DWORD, PVOID, PDWORD, PHANDLE) = WlanOpenHandle;
DWORD (WINAPI *wlan_close)(HANDLE, PVOID) = WlanCloseHandle;
DWORD (WINAPI *wlan_enum)(HANDLE, PVOID, PWLAN_INTERFACE_INFO_LIST *) = WlanEnumInterfaces;
DWORD (WINAPI *wlan_query)(HANDLE, CONST GUID *, WLAN_INTF_OPCODE, PVOID, PDWORD, PVOID *, PWLAN_OPCODE_VALUE_TYPE) = WlanQueryInterface;
VOID (WINAPI *wlan_free)(PVOID) = WlanFreeMemory;

ULONG codes[] = {
    IOCTL_BATTERY_QUERY_TAG, IOCTL_BATTERY_QUERY_INFORMATION, IOCTL_BATTERY_QUERY_STATUS,
    BATTERY_SYSTEM_BATTERY, BATTERY_CAPACITY_RELATIVE, BATTERY_IS_SHORT_TERM,
    BATTERY_UNKNOWN_CAPACITY, BATTERY_UNKNOWN_VOLTAGE, BATTERY_UNKNOWN_RATE,
    SystemBatteryState, BATTERY_TAG_INVALID, BatteryInformation,
};

ULONG sizes[] = {
    sizeof(SYSTEM_POWER_STATUS), sizeof(SYSTEM_BATTERY_STATE), sizeof(BATTERY_INFORMATION),
    sizeof(BATTERY_STATUS), sizeof(BATTERY_QUERY_INFORMATION), sizeof(BATTERY_WAIT_STATUS),
};

SYSTEM_POWER_STATUS on_mains = {.ACLineStatus = 1, .BatteryFlag = 8, .BatteryLifePercent = 64, .BatteryLifeTime = 5, .BatteryFullLifeTime = 6};

SYSTEM_BATTERY_STATE whole = {.AcOnLine = 0, .BatteryPresent = TRUE, .Discharging = TRUE,
    .MaxCapacity = 50060, .RemainingCapacity = 49450, .Rate = -4830, .EstimatedTime = 7, .DefaultAlert1 = 8, .DefaultAlert2 = 9};
SYSTEM_BATTERY_STATE whole_charging = {.AcOnLine = TRUE, .BatteryPresent = TRUE, .Charging = TRUE,
    .MaxCapacity = 50060, .RemainingCapacity = 49450, .Rate = 4830, .EstimatedTime = 7, .DefaultAlert1 = 8, .DefaultAlert2 = 9};

BATTERY_INFORMATION information = {.Capabilities = BATTERY_SYSTEM_BATTERY, .Technology = 1, .Chemistry = "LION",
    .DesignedCapacity = 47520, .FullChargedCapacity = 50060, .DefaultAlert1 = 1, .DefaultAlert2 = 2, .CriticalBias = 3, .CycleCount = 4};

BATTERY_STATUS discharging = {.PowerState = BATTERY_DISCHARGING, .Capacity = 49450, .Voltage = 12229, .Rate = -4830};
BATTERY_STATUS charging = {.PowerState = BATTERY_CHARGING | BATTERY_POWER_ON_LINE, .Capacity = 49450, .Voltage = 12229, .Rate = 4830};
BATTERY_STATUS unknown = {.PowerState = BATTERY_DISCHARGING, .Capacity = BATTERY_UNKNOWN_CAPACITY, .Voltage = BATTERY_UNKNOWN_VOLTAGE, .Rate = BATTERY_UNKNOWN_RATE};

BATTERY_QUERY_INFORMATION question = {.BatteryTag = 77, .InformationLevel = BatteryInformation, .AtRate = 0};
BATTERY_WAIT_STATUS status_question = {.BatteryTag = 77, .Timeout = 0};

/* The Energy Metering Interface. mingw-w64 10 has no emi.h, so its structures and
   codes are declared here as Microsoft's SDK documentation of emi.h has them; the
   compiler lays them out, and makes the codes by winioctl.h. */
#define EMI_CODE(function) CTL_CODE(FILE_DEVICE_UNKNOWN, function, METHOD_BUFFERED, FILE_READ_ACCESS)

ULONG emi_codes[] = {EMI_CODE(0), EMI_CODE(1), EMI_CODE(2), EMI_CODE(3)};

DEFINE_GUID(GUID_DEVICE_ENERGY_METER, 0x45bd8344, 0x7ed6, 0x49cf, 0xa4, 0x40, 0xc2, 0x76, 0xc9, 0x33, 0xb0, 0x53);

struct {
    ULONG MeasurementUnit;
    WCHAR MeteredHardwareOEM[16], MeteredHardwareModel[16];
    USHORT MeteredHardwareRevision, MeteredHardwareNameSize;
    WCHAR MeteredHardwareName[5];
} metadata_1 = {0, L"maker", L"model", 1, 10, L"rail"};

struct {
    WCHAR HardwareOEM[16], HardwareModel[16];
    USHORT HardwareRevision, ChannelCount;
    struct { /* lies right behind the last one */
        ULONG MeasurementUnit;
        USHORT ChannelNameSize;
        WCHAR ChannelName[8];
    } __attribute__((packed)) first;
    struct {
        ULONG MeasurementUnit;
        USHORT ChannelNameSize;
        WCHAR ChannelName[7];
    } __attribute__((packed)) second;
} metadata_2 = {L"maker", L"model", 1, 2, {0, 16, L"P0_PKG"}, {0, 14, L"P0_PP0"}};

struct {
    ULONGLONG AbsoluteEnergy, AbsoluteTime;
} measurement[2] = {{1000000000000, 600000000}, {500000000000, 700000000}};

/* Display, radios and power mode. */
ULONG surroundings[] = {
    IOCTL_VIDEO_QUERY_DISPLAY_BRIGHTNESS, sizeof(DISPLAY_BRIGHTNESS), DISPLAYPOLICY_AC,
    ENUM_CURRENT_SETTINGS, sizeof(DEVMODEW), offsetof(DEVMODEW, dmSize), offsetof(DEVMODEW, dmDisplayFrequency),
    wlan_intf_opcode_radio_state, WLAN_MAX_PHY_INDEX, sizeof(WLAN_PHY_RADIO_STATE), dot11_radio_state_off,
    offsetof(WLAN_INTERFACE_INFO_LIST, InterfaceInfo), offsetof(WLAN_INTERFACE_INFO, InterfaceGuid),
    offsetof(SYSTEM_POWER_STATUS, Reserved1), /* SystemStatusFlag in newer headers */
};
DISPLAY_BRIGHTNESS dimmed = {DISPLAYPOLICY_DC, 100, 60};
DEVMODEW display_mode = {.dmSize = sizeof(DEVMODEW), .dmDisplayFrequency = 120};
WLAN_RADIO_STATE radio_on = {2, {{0, dot11_radio_state_off, dot11_radio_state_on}, {1, dot11_radio_state_on, dot11_radio_state_on}}};
WLAN_RADIO_STATE radio_off = {1, {{0, dot11_radio_state_off, dot11_radio_state_on}}};
WLAN_RADIO_STATE radio_switched_off = {1, {{0, dot11_radio_state_on, dot11_radio_state_off}}};
