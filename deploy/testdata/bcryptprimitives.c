/* Go takes random bytes from bcryptprimitives.dll, which Wine 8 lacks; the same
   bytes come from advapi32. */
#include <windows.h>

BOOLEAN WINAPI SystemFunction036(PVOID buffer, ULONG size);

__declspec(dllexport) BOOL WINAPI ProcessPrng(PBYTE buffer, SIZE_T size)
{
    return SystemFunction036(buffer, (ULONG)size);
}
