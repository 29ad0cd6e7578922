# Run by CPack on what it is about to pack: everybody may read it, whatever new files are to whoever packs;
# libraries hold nothing of the folder they were built in; and with SOURCE_DATE_EPOCH set, everything is as
# old as that says. So two packages of the same source are equal to the byte.
execute_process(COMMAND_ERROR_IS_FATAL ANY COMMAND chmod -R u=rwX,go=rX ${CPACK_TEMPORARY_DIRECTORY})
execute_process(COMMAND_ERROR_IS_FATAL ANY
  COMMAND find ${CPACK_TEMPORARY_DIRECTORY} -name "*.a"
    -exec strip --strip-debug --enable-deterministic-archives {} +)
if(DEFINED ENV{SOURCE_DATE_EPOCH})
  execute_process(COMMAND_ERROR_IS_FATAL ANY
    COMMAND find ${CPACK_TEMPORARY_DIRECTORY} -exec touch -h -d @$ENV{SOURCE_DATE_EPOCH} {} +)
endif()
