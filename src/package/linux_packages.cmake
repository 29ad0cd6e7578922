# `cpack -G DEB` and `cpack -G TGZ`: /usr is where their files belong.
set(CPACK_PACKAGE_VENDOR "The pivotrace contributors")
set(CPACK_PACKAGE_CONTACT "The pivotrace contributors <contributors@pivotrace.invalid>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "find where a rotary axis of a milling machine really is")
set(CPACK_PACKAGE_DIRECTORY ${CMAKE_BINARY_DIR}/packages)
set(CPACK_SYSTEM_NAME linux-${CMAKE_SYSTEM_PROCESSOR})
set(CPACK_GENERATOR DEB TGZ)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_COMPONENTS_ALL program dev)
set(CPACK_STRIP_FILES ON)
set(CPACK_INSTALL_DEFAULT_DIRECTORY_PERMISSIONS OWNER_READ OWNER_WRITE OWNER_EXECUTE GROUP_READ
  GROUP_EXECUTE WORLD_READ WORLD_EXECUTE)
set(CPACK_PRE_BUILD_SCRIPTS ${CMAKE_CURRENT_LIST_DIR}/even_out.cmake)

set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_CONTROL_STRICT_PERMISSION ON)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME pivotrace)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_SHLIBDEPS ON)
set(CPACK_COMPONENT_PROGRAM_DESCRIPTION
"From touches of a probe pivotrace works out the line a rotary axis turns about
and an honest uncertainty of every value. It plans the touches, writes the
probing program, rehearses it on a virtual machine, judges the result and
writes the pivot values where they belong.")
set(CPACK_DEBIAN_DEV_PACKAGE_NAME libpivotrace-dev)
set(CPACK_DEBIAN_DEV_PACKAGE_SECTION libdevel)
string(JOIN ", " CPACK_DEBIAN_DEV_PACKAGE_DEPENDS libboost-dev libcli11-dev libeigen3-dev libexpected-dev
  libfcl-dev libfmt-dev libmd-dev libre2-dev libtomlplusplus-dev nlohmann-json3-dev)
if(PIVOTRACE_CERES)
  string(APPEND CPACK_DEBIAN_DEV_PACKAGE_DEPENDS ", libceres-dev")
endif()
set(CPACK_COMPONENT_DEV_DESCRIPTION
"Headers and libraries of pivotrace for other programs: rotary axes fitted to
touches, surveys planned and rehearsed, with CMake and pkg-config files; and
the core for microcontrollers.")
include(CPack)
