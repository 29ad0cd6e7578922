// hold FILE: keeps a file open as some programs of Windows do, so that nobody else may touch it, until its
// standard input ends.
#include <windows.h>

#include <cstdio>

int wmain(int count, wchar_t** words) {
  if (count != 2) return 2;
  const HANDLE file = CreateFileW(words[1], GENERIC_READ, 0, nullptr, OPEN_EXISTING, 0, nullptr);
  if (file == INVALID_HANDLE_VALUE) return 1;
  std::puts("held");
  std::fflush(stdout);
  while (std::getchar() != EOF) continue;
  CloseHandle(file);
  return 0;
}
