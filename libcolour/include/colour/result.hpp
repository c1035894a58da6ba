// A value or the reason why there is none.
//
// Bad data is not exceptional at a bench: a clipped photo, a card half hidden, a table with a hole in it. So
// functions that can meet it return Result<T>; nothing in this library throws for bad data.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <variant>

namespace bindhue {

// The closed list of reasons. `Error::what` says it in words; programs branch on the reason.
enum class Reason {
    bad_value,       // a number out of its documented range, or not finite
    bad_format,      // a file or text that does not follow its format
    too_few,         // not enough data to determine the answer
    cannot_measure,  // the data are sound but do not allow the measurement (no card, clipped, too small, ...)
    not_found,       // a named thing does not exist
    storage,         // reading or writing storage failed
};

struct Error {
    Reason reason = Reason::bad_value;
    std::string what;   // what is wrong, one sentence
    std::string where;  // which file, line, patch, field or band; empty if there is only one place
    std::string mend;   // what to do about it, one sentence
};

template <class T>
class [[nodiscard]] Result {
  public:
    Result(T value) : state_(std::in_place_index<0>, std::move(value)) {}
    Result(Error error) : state_(std::in_place_index<1>, std::move(error)) {}

    explicit operator bool() const { return state_.index() == 0; }
    bool has_value() const { return state_.index() == 0; }

    // Precondition of the next three: has_value().
    const T& operator*() const { return *std::get_if<0>(&state_); }
    T& operator*() { return *std::get_if<0>(&state_); }
    const T* operator->() const { return std::get_if<0>(&state_); }
    T* operator->() { return std::get_if<0>(&state_); }

    // Precondition: !has_value().
    const Error& error() const { return *std::get_if<1>(&state_); }

  private:
    std::variant<T, Error> state_;
};

// For functions whose only result is that they succeeded.
using Status = Result<std::monostate>;
inline Status ok() { return std::monostate{}; }

}  // namespace bindhue
