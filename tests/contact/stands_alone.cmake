# Fails when OBJECT asks for anything but the square root and the moving of memory. NM: the program.
execute_process(COMMAND ${NM} -C -u ${OBJECT} OUTPUT_VARIABLE symbols COMMAND_ERROR_IS_FATAL ANY)
execute_process(COMMAND ${NM} -C --defined-only ${OBJECT} OUTPUT_VARIABLE own
  COMMAND_ERROR_IS_FATAL ANY)
if(NOT own MATCHES "gap_in_double" OR NOT own MATCHES "gap_in_float")
  message(FATAL_ERROR "${OBJECT} does not hold the formulas")
endif()
string(REGEX MATCHALL "U [^\n]+" asked "${symbols}")
foreach(symbol IN LISTS asked)
  if(NOT symbol MATCHES
     "^U (sqrt|sqrtf|memcpy|memset|memmove|_GLOBAL_OFFSET_TABLE_|__stack_chk_fail)$")
    message(FATAL_ERROR "${OBJECT} asks for more than the square root: ${symbol}")
  endif()
endforeach()
message(STATUS "nothing but: ${asked}")
