# Fails when a file includes a header of a room that its own room may not use.
#   cmake -DSOURCE_DIR=<project> [-DEXPECT=failure] -P room_order.cmake
# The order of the rooms is read from src/CMakeLists.txt (a room may use those above it), and what a
# room really links from its own CMakeLists.txt, so that the rule has one home.
cmake_minimum_required(VERSION 3.25)
file(STRINGS ${SOURCE_DIR}/src/CMakeLists.txt lines REGEX "^add_subdirectory")
set(rooms "")
foreach(line IN LISTS lines)
  string(REGEX REPLACE "^add_subdirectory\\(([a-z_]+)\\).*" "\\1" room "${line}")
  list(APPEND rooms ${room})
endforeach()

# links_<room>: the rooms it names and, through them, all they hand on. What a room names under
# PRIVATE_USES is in its .cpp files alone and is not handed on.
foreach(room IN LISTS rooms)
  set(hands_on_${room} ${room})
  set(links_${room} ${room})
  file(READ ${SOURCE_DIR}/src/${room}/CMakeLists.txt text)
  string(REGEX REPLACE "PRIVATE_USES[^)]*" "" public_text "${text}")
  foreach(which IN ITEMS public_text text)
    string(REGEX MATCHALL "pivotrace::[a-z_]+" named "${${which}}")
    foreach(name IN LISTS named)
      string(REPLACE "pivotrace::" "" used ${name})
      if(DEFINED hands_on_${used})
        list(APPEND links_${room} ${hands_on_${used}})
      endif()
    endforeach()
    list(REMOVE_DUPLICATES links_${room})
    if(which STREQUAL "public_text")
      set(hands_on_${room} ${links_${room}})
    endif()
  endforeach()
endforeach()

set(faults "")
# What reads and judges a result needs no estimator and no solver.
foreach(room IN ITEMS results pivots formats report)
  foreach(used IN ITEMS estimate solver)
    if(used IN_LIST links_${room})
      string(APPEND faults "  room ${room} links room ${used}\n")
    endif()
  endforeach()
endforeach()
foreach(room IN LISTS rooms)
  file(GLOB_RECURSE files ${SOURCE_DIR}/src/${room}/*.h ${SOURCE_DIR}/src/${room}/*.cpp
       ${SOURCE_DIR}/include/pivotrace/${room}/*.h)
  foreach(file IN LISTS files)
    file(STRINGS ${file} includes REGEX "^#include \"")
    foreach(include IN LISTS includes)
      string(REGEX REPLACE "^#include \"(pivotrace/)?([a-z_]+)/.*" "\\2" used "${include}")
      if(used IN_LIST rooms AND NOT used IN_LIST links_${room})
        file(RELATIVE_PATH short ${SOURCE_DIR} ${file})
        string(APPEND faults "  ${short}: ${include} (room ${room} may not use room ${used})\n")
      endif()
    endforeach()
  endforeach()
endforeach()

if(EXPECT STREQUAL "failure")
  if(faults STREQUAL "")
    message(FATAL_ERROR "an include that breaks the order of the rooms was not noticed")
  endif()
elseif(NOT faults STREQUAL "")
  message(FATAL_ERROR "these includes break the order of the rooms:\n${faults}"
    "move the shared thing to a room above both, or link the room in src/<room>/CMakeLists.txt if "
    "that room is above")
endif()
