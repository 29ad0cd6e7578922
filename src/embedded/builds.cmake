# The builds of the core that stand side by side on the host: `embedded_builds`, and what each defines.
foreach(real IN ITEMS 0 1)
  foreach(axes IN ITEMS 1 2)
    list(APPEND embedded_builds ${real}_${axes})
    set(embedded_${real}_${axes}_definitions PIVOTRACE_DOUBLE=${real} PIVOTRACE_AXES=${axes})
  endforeach()
endforeach()

# Without the parts that may be left out.
foreach(axes IN ITEMS 1 2)
  list(APPEND embedded_builds 0_${axes}_plain)
  set(embedded_0_${axes}_plain_definitions PIVOTRACE_DOUBLE=0 PIVOTRACE_AXES=${axes} PIVOTRACE_PINS=0
    PIVOTRACE_TOOL_AXES=0 PIVOTRACE_MOTION=0 PIVOTRACE_LINEAR_TERMS=0)
endforeach()
