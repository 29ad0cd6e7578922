# Sourced by examples/run-demo, examples/run-loop and tests/run-tests: missing Debian packages, number
# of build jobs, the program the examples use.
# shellcheck shell=bash

say() { printf '\n== %s\n' "$*"; }

# packages_for USE...: the packages of these uses, from tests/debian-packages.
packages_for() {
  local use
  for use in "$@"; do
    sed -n "s/^${use} \+\([^ #]\+\).*/\1/p" "${project_dir}/tests/debian-packages"
  done
}

# missing_of PACKAGE...: those that are not installed.
missing_of() {
  local package
  for package in "$@"; do
    dpkg-query -W -f '${db:Status-Abbrev}' "$package" 2>/dev/null | grep -q '^ii' || echo "$package"
  done
}

# install_missing USE...: installs what is missing as root, or with sudo where that asks nothing;
# otherwise says which command an administrator has to run.
install_missing() {
  local -a missing run_as=()
  if ! command -v dpkg-query >/dev/null; then
    say "This is not a Debian system: nothing is installed, the build uses what is there"
    return 0
  fi
  mapfile -t missing < <(missing_of $(packages_for "$@"))
  if [ "${#missing[@]}" -eq 0 ]; then
    say "All Debian packages needed are installed"
    return 0
  fi
  if [ "$(id -u)" -ne 0 ]; then
    if command -v sudo >/dev/null && sudo -n true 2>/dev/null; then
      run_as=(sudo -n)
    else
      say "Debian packages are missing and this user may not install them"
      echo "Ask an administrator to run:" >&2
      echo "  apt-get install ${missing[*]}" >&2
      return 4
    fi
  fi
  say "Installing Debian packages: ${missing[*]}"
  "${run_as[@]}" apt-get update -q ||
    echo "The package lists could not be refreshed; trying with the ones there are." >&2
  "${run_as[@]}" env DEBIAN_FRONTEND=noninteractive \
    apt-get -o DPkg::Lock::Timeout=600 install -q -y --no-install-recommends "${missing[@]}"
}

# build_jobs: one job per processor, but no more than memory allows (1.5 GB each).
build_jobs() {
  local processors by_memory
  processors=$(nproc)
  by_memory=$(awk '/^MemAvailable:/ { print int($2 / 1500000) }' /proc/meminfo)
  [ "${by_memory:-1}" -ge 1 ] || by_memory=1
  echo $((processors < by_memory ? processors : by_memory))
}

# date_of_last_change: of the list of changes, in seconds since 1970: packages are as old as that, for
# everybody who packs the same source.
date_of_last_change() {
  local date
  date=$(sed -n 's/^ -- .*>  //p' "${project_dir}/src/package/CHANGELOG" | head -n 1)
  date +%s -d "${date}"
}

# build_demo_program: installs what is missing and builds pivotrace into build/demo.
build_demo_program() {
  install_missing build
  say "Building pivotrace into build/demo (a few minutes the first time)"
  cmake -S . -B build/demo -G Ninja -DCMAKE_BUILD_TYPE=Release -DPIVOTRACE_TESTS=OFF \
    -DPIVOTRACE_WARNINGS_AS_ERRORS=OFF
  cmake --build build/demo -j "$(build_jobs)" --target pivotrace
}

# A compiler cache is used when there is one. Without one, headers are read once for many files.
if command -v ccache >/dev/null; then
  export CMAKE_CXX_COMPILER_LAUNCHER="${CMAKE_CXX_COMPILER_LAUNCHER-ccache}"
fi

# configure PRESET [OPTION...]
configure() {
  local precompile=ON
  [ -z "${CMAKE_CXX_COMPILER_LAUNCHER:-}" ] || precompile=OFF
  cmake --preset "$@" -DPIVOTRACE_PRECOMPILE="${precompile}" >/dev/null
}
