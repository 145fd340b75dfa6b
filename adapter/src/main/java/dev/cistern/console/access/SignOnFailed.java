// SPDX-License-Identifier: Apache-2.0
// SPDX-FileCopyrightText: The Cistern authors
package dev.cistern.console.access;

import org.jspecify.annotations.Nullable;

/** Somebody could not sign in elsewhere. Its message is for the trail and says nothing of them. */
final class SignOnFailed extends Exception {
  private static final long serialVersionUID = 1L;

  private final boolean unreachable;

  SignOnFailed(String message, @Nullable Throwable cause) {
    this(message, cause, false);
  }

  private SignOnFailed(String message, @Nullable Throwable cause, boolean unreachable) {
    super(message, cause);
    this.unreachable = unreachable;
  }

  static SignOnFailed unreachable(@Nullable Throwable cause) {
    return new SignOnFailed("the provider cannot be asked", cause, true);
  }

  /** It answers, and what it answers is of no use. */
  static SignOnFailed nonsense(String what, @Nullable Throwable cause) {
    return new SignOnFailed(what, cause, true);
  }

  /** Whether the provider is the reason, not the person. */
  boolean isUnreachable() {
    return unreachable;
  }
}
