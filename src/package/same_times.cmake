# Run by CPack on what it is about to pack: with SOURCE_DATE_EPOCH set, everything is as old as that says,
# so that two packages of the same source are equal to the byte.
if(DEFINED ENV{SOURCE_DATE_EPOCH})
  execute_process(COMMAND_ERROR_IS_FATAL ANY
    COMMAND find ${CPACK_TEMPORARY_DIRECTORY} -exec touch -h -d @$ENV{SOURCE_DATE_EPOCH} {} +)
endif()
