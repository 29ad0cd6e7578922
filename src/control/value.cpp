#include "pivotrace/control/value.h"

#include <cmath>

#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

std::shared_ptr<const Value> shared(const Value& value) {
  return std::make_shared<const Value>(value);
}

NumberKind kind_of(const Value& value) {
  const auto* number = std::get_if<NumberNode>(&value.node());
  return number != nullptr ? number->kind : NumberKind::plain;
}

/// NumberKind of a folded sum or product: a length stays a length beside plain numbers.
NumberKind joined_kind(const Value& a, const Value& b) {
  const NumberKind first = kind_of(a);
  return first != NumberKind::plain ? first : kind_of(b);
}

Value folded(double number, NumberKind kind) { return Value(NumberNode{number, kind}); }

Value binary(Operator op, const Value& a, const Value& b) {
  return Value(BinaryNode{op, shared(a), shared(b)});
}

Value unary(Function function, const Value& a) { return Value(UnaryNode{function, shared(a)}); }

/// Sine and cosine of whole quarter turns come out exact, so that programs show 0 and 1.
double tidy(double value) {
  const double nearest = std::round(value);
  return std::abs(value - nearest) < 1e-15 ? nearest : value;
}

/// The x of a "0 - x", or nothing.
const Value* negated(const Value& value) {
  const auto* node = std::get_if<BinaryNode>(&value.node());
  if (node == nullptr || node->op != Operator::subtract || !node->left->is_number(0.0)) {
    return nullptr;
  }
  return node->right.get();
}

}  // namespace

const double* Value::number() const {
  const auto* node = std::get_if<NumberNode>(&node_);
  return node != nullptr ? &node->number : nullptr;
}

bool Value::is_number(double wanted) const {
  const double* known = number();
  return known != nullptr && *known == wanted;
}

Value length(double mm) { return folded(mm, NumberKind::length); }
Value angle(double degrees) { return folded(degrees, NumberKind::angle); }
Value feed(double mm_per_min) { return folded(mm_per_min, NumberKind::feed); }
Value count(int number) { return folded(number, NumberKind::count); }

Value element(const Table& table, const Value& index) {
  return Value(ElementNode{table.name, shared(index)});
}

Value machine_value(MachineValue what, char letter) {
  return Value(MachineValueNode{what, letter});
}

Value operator+(const Value& a, const Value& b) {
  if (a.number() != nullptr && b.number() != nullptr) {
    return folded(*a.number() + *b.number(), joined_kind(a, b));
  }
  if (a.is_number(0.0)) return b;
  if (b.is_number(0.0)) return a;
  if (const Value* inner = negated(b)) return a - *inner;
  if (b.number() != nullptr && *b.number() < 0.0) {
    return binary(Operator::subtract, a, folded(-*b.number(), kind_of(b)));
  }
  return binary(Operator::add, a, b);
}

Value operator-(const Value& a, const Value& b) {
  if (a.number() != nullptr && b.number() != nullptr) {
    return folded(*a.number() - *b.number(), joined_kind(a, b));
  }
  if (b.is_number(0.0)) return a;
  if (const Value* inner = negated(b)) return a + *inner;
  if (b.number() != nullptr && *b.number() < 0.0) {
    return binary(Operator::add, a, folded(-*b.number(), kind_of(b)));
  }
  return binary(Operator::subtract, a, b);
}

Value operator*(const Value& a, const Value& b) {
  if (a.number() != nullptr && b.number() != nullptr) {
    return folded(*a.number() * *b.number(), joined_kind(a, b));
  }
  if (a.is_number(0.0) || b.is_number(0.0)) return Value(0.0);
  if (a.is_number(1.0)) return b;
  if (b.is_number(1.0)) return a;
  if (const Value* inner = negated(a)) return Value(0.0) - *inner * b;
  if (const Value* inner = negated(b)) return Value(0.0) - a * *inner;
  if (a.is_number(-1.0)) return Value(0.0) - b;
  if (b.is_number(-1.0)) return Value(0.0) - a;
  return binary(Operator::multiply, a, b);
}

Value operator/(const Value& a, const Value& b) {
  if (a.number() != nullptr && b.number() != nullptr && *b.number() != 0.0) {
    return folded(*a.number() / *b.number(), kind_of(a));
  }
  if (b.is_number(1.0)) return a;
  return binary(Operator::divide, a, b);
}

Value operator-(const Value& a) { return Value(0.0) - a; }

Value sine(const Value& degrees) {
  if (degrees.number() != nullptr) {
    return Value(tidy(std::sin(rad_from_deg(*degrees.number()))));
  }
  return unary(Function::sine, degrees);
}

Value cosine(const Value& degrees) {
  if (degrees.number() != nullptr) {
    return Value(tidy(std::cos(rad_from_deg(*degrees.number()))));
  }
  return unary(Function::cosine, degrees);
}

Value square_root(const Value& a) {
  if (a.number() != nullptr && *a.number() >= 0.0) {
    return folded(std::sqrt(*a.number()), kind_of(a));
  }
  return unary(Function::square_root, a);
}

Value absolute(const Value& a) {
  if (a.number() != nullptr) return folded(std::abs(*a.number()), kind_of(a));
  return unary(Function::absolute, a);
}

Value arctangent(const Value& y, const Value& x) {
  return Value(ArctangentNode{shared(y), shared(x)});
}

}  // namespace pivotrace
