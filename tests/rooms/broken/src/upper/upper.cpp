#include "upper/upper.h"
