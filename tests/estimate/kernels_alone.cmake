# Fails when one of OBJECTS (separated by commas) defines a symbol others can see, its entry apart.
# NM: the program.
string(REPLACE "," ";" objects "${OBJECTS}")
if(objects STREQUAL "")
  message(FATAL_ERROR "expected the object files of the kernels")
endif()
foreach(object IN LISTS objects)
  execute_process(COMMAND ${NM} -C --extern-only --defined-only ${object} OUTPUT_VARIABLE symbols
    COMMAND_ERROR_IS_FATAL ANY)
  string(REGEX MATCHALL "[^\n]+" seen "${symbols}")
  foreach(symbol IN LISTS seen)
    if(NOT symbol MATCHES " T pivotrace::trial::refit_(two|four|eight)\\(")
      message(FATAL_ERROR "${object} shows more than its entry: ${symbol}")
    endif()
  endforeach()
endforeach()
message(STATUS "the kernels show nothing but their entries")
