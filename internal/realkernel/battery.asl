/*
 * A battery, a mains adapter, a thermal zone and a power meter whose readings
 * are exact functions of a clock. timeline.go states the same functions in Go;
 * the test of the rig compares the two through the kernel's own drivers.
 *
 * The clock, t in ms, stands at 0 until the first read of
 *     /sys/bus/acpi/devices/RIG0001:00/sun
 * (init does that just before the script) and every read returns it. It comes
 * from Timer, which Linux 6.1 derives from jiffies: it moves in steps of 4 ms.
 *
 * -D CHARGE_UNITS makes the battery report mA and mAh instead of mW and mWh,
 * every figure divided by its 12 V and rounded down.
 *
 * Interfaces: ACPI 6.0, chapters 10.2 (battery), 10.3 (adapter), 10.4 (meter),
 * 11.4 (thermal zone). The machine's DSDT is of revision 1, so integers have
 * 32 bits: no value may pass 4 294 967 295.
 */
#ifdef CHARGE_UNITS
#define UNIT 1
#define SCALE 12
#else
#define UNIT 0
#define SCALE 1
#endif

DefinitionBlock ("", "SSDT", 2, "RIG", "BATTERY", 1)
{
    Scope (\_SB)
    {
        // Each row: when it begins (ms), mains, _BST state (0 at rest,
        // 1 discharging, 2 charging), mW, and what is missing from the
        // battery when it begins (mW times ms).
        Name (ROWS, Package ()
        {
            Package () {      0, 1, 2, 18000,  360000000 },
            Package () {  20000, 1, 0,     0,          0 },
            Package () {  40000, 0, 1, 12000,          0 },
            Package () {  60000, 0, 1, 25000,  240000000 },
            Package () {  80000, 0, 1, 41000,  740000000 },
            Package () { 100000, 1, 2, 30000, 1560000000 },
            Package () { 152000, 1, 0,     0,          0 }
        })
        Name (RUNS, Zero)       // 1 once the clock runs
        Name (MARK, Zero)       // Timer (100 ns) at the last ms counted
        Name (NOW, Zero)        // t
        Name (ROW, Zero)        // index of the row that holds at t

        // Brings t and the row up to date; a new row notifies the battery and
        // the adapter. Timer wraps every 429 s, the thermal polling calls this
        // about every second.
        Method (TICK, 0, Serialized)
        {
            If (RUNS)
            {
                Local0 = ((Timer - MARK) & 0xFFFFFFFF) / 10000
                MARK = (MARK + Local0 * 10000) & 0xFFFFFFFF
                NOW += Local0
            }
            Local1 = ROW
            While (ROW < SizeOf (ROWS) - 1)
            {
                If (NOW < DerefOf (DerefOf (ROWS [ROW + 1]) [0])) { Break }
                ROW++
            }
            If (ROW != Local1)
            {
                Notify (BAT0, 0x80)
                Notify (ADP0, 0x80)
            }
        }

        // Column Arg0 of the row found by the last TICK.
        Method (COLM, 1, Serialized) { Return (DerefOf (DerefOf (ROWS [ROW]) [Arg0])) }

        Device (CLK0)
        {
            Name (_HID, "RIG0001")
            Method (_SUN, 0, Serialized)
            {
                If (!RUNS)
                {
                    MARK = Timer & 0xFFFFFFFF
                    RUNS = One
                }
                TICK ()
                Return (NOW)
            }
        }

        Device (ADP0)
        {
            Name (_HID, "ACPI0003")
            Name (_PCL, Package () { \_SB })
            Method (_PSR, 0, Serialized)
            {
                TICK ()
                Return (COLM (1))
            }
        }

        Device (BAT0)
        {
            Name (_HID, EisaId ("PNP0C0A"))
            Name (_UID, Zero)
            Name (_PCL, Package () { \_SB })
            Name (_STA, 0x1F)
            Name (_BIX, Package ()
            {
                0,                      // revision
                UNIT,                   // 0: mW and mWh, 1: mA and mAh
                65000 / SCALE,          // design capacity
                60000 / SCALE,          // last full charge capacity
                1,                      // rechargeable
                11400,                  // design voltage, mV
                3000 / SCALE,           // design capacity of warning
                1500 / SCALE,           // design capacity of low
                137,                    // cycle count
                100000,                 // accuracy, 0.001 %
                1000, 1000,             // sampling time, ms
                1000, 1000,             // averaging interval, ms
                1, 1,                   // granularities
                "MODEL1", "SERIAL1", "LION", "OEM1"
            })
            Method (_BST, 0, Serialized)
            {
                TICK ()
                Local0 = COLM (2)       // state
                Local1 = COLM (3)       // rate
                Local2 = Local1 * (NOW - COLM (0))
                If (Local0 == 1) { Local2 = COLM (4) + Local2 }
                Else             { Local2 = COLM (4) - Local2 }
                Local3 = Package (4) { 0, 0, 0, 12000 }
                Local3 [0] = Local0
                Local3 [1] = Local1 / SCALE
                Local3 [2] = (60000 - (Local2 + 3599999) / 3600000) / SCALE
                Return (Local3)
            }
        }

        // The discharge rate on battery, 10 W on mains; nothing is cached.
        Device (PMT0)
        {
            Name (_HID, "ACPI000D")
            Name (_PMC, Package ()
            {
                1,                      // it measures, nothing more
                0,                      // mW
                0,                      // input power
                100000,                 // accuracy, 0.001 %
                0,                      // sampling time, ms
                0, 0,                   // averaging interval, ms
                0, 0, 0, 0,             // no cap
                "MODEL2", "SERIAL2", "OEM2"
            })
            Name (_PMD, Package () {})
            Method (_PMM, 0, Serialized)
            {
                TICK ()
                If (COLM (1)) { Return (10000) }
                Return (COLM (3))
            }
        }
    }

    // A triangle of period 120 s: 40 C at 0 s, 70 C at 60 s, in steps of 0.1 K.
    Scope (\_TZ)
    {
        ThermalZone (TZ0)
        {
            Name (_TZP, 10)             // polled every second, in tenths
            Name (_CRT, 3782)           // 105.0 C in tenths of a kelvin
            Method (_TMP, 0, Serialized)
            {
                \_SB.TICK ()
                Local0 = \_SB.NOW % 120000
                If (Local0 > 60000) { Local0 = 120000 - Local0 }
                Return (3132 + Local0 / 200)
            }
        }
    }
}
